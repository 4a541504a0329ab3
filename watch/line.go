package watch

import (
	"fmt"

	"padlark/decode"
	"padlark/ingest"
)

// Line is the way from a frame to what it means: the decoder makes samples of it, the
// engine events and alarms of these. It is for one goroutine, or one for each of them.
type Line struct {
	Decoder *decode.Decoder
	Engine  *Engine
}

// NewLine makes a line that has seen nothing yet.
func NewLine(d decode.Config, e Config) (l Line, err error) {
	if l.Decoder, err = decode.New(d); err != nil {
		return l, fmt.Errorf("make decoder: %w", err)
	}
	l.Engine, err = NewEngine(e)
	return l, err
}

// Frame takes one frame: out is shown each sample with what it brought about. rej says
// why there was none.
func (l Line) Frame(f *ingest.Frame, out func(s decode.Sample, o Output)) (rej *decode.Reject) {
	rej, _ = l.Decoder.Take(f, nil, func(s decode.Sample) error { //nolint:errcheck // it is that of the function
		out(s, l.Engine.Sample(&s))
		return nil
	})
	return rej
}
