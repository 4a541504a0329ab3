package influx_test

import (
	"fmt"
	"time"

	"padlark/decode"
	"padlark/storage/influx"
)

// A sample as one line of line protocol. The frame's number stands in the last digits
// of the time, so that two samples of one moment are two points.
func ExampleAppendSample() {
	at := time.Date(2026, 5, 2, 10, 0, 0, 0, time.UTC)
	line := influx.AppendSample(nil, "north field", &decode.Sample{Rocket: "Teal", Link: "radio", N: 5, Seq: 41, Clock: -1, At: at, Heard: at,
		Values: decode.Channels{Names: []string{decode.PressurePa}, Values: []float64{98412.5}}})
	fmt.Printf("%s", line)
	// Output: sample,link=radio,rocket=Teal,station=north\ field n=5i,boot=0i,seq=41i,pressure_pa=98412.5 1777716000000000005
}
