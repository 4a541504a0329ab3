package influx

import "padlark/decode"

// AppendSample appends a sample's line of line protocol, as the writer sends
// it, with the times that the sample carries.
func AppendSample(buf []byte, station string, s *decode.Sample) []byte {
	return appendSample(buf, station, s, 0)
}
