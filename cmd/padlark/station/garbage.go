package station

import (
	"errors"
	"time"

	"padlark/decode"
	"padlark/ingest"
)

// garbageMost is how many bytes of frames that nobody can read are kept of a link
// in an hour: enough to find out what is wrong with a layout, and not the disk.
const garbageMost = 32 << 20

// frameCost is about what a frame costs on the disk besides its bytes.
const frameCost = 48

// reasonNotKept counts frames that were not kept.
const reasonNotKept = "garbage not kept"

// garbage bounds what unreadable frames may take of the disk. Only frames that
// the decoder cannot even parse are ever dropped: parsing leaves no trace in it,
// so what is recorded gives the same samples without them. The zero value is
// ready to use.
type garbage struct {
	links  map[string]*garbageOf
	parsed decode.Parsed // used again and again
}

type garbageOf struct {
	hour  int64
	bytes int
}

// note counts a frame that was rejected.
func (g *garbage) note(f *ingest.Frame) {
	l := g.of(f)
	l.bytes += len(f.Bytes) + frameCost
}

// drops says whether a frame is beyond what is kept, and why it cannot be read.
func (g *garbage) drops(d *decode.Decoder, f *ingest.Frame) (*decode.Reject, bool) {
	if g.of(f).bytes < garbageMost {
		return nil, false
	}
	var r *decode.Reject
	if err := d.Parse(f.Link, f.Bytes, &g.parsed); errors.As(err, &r) {
		return r, true
	}
	return nil, false
}

// of is the count of a frame's link in its hour.
func (g *garbage) of(f *ingest.Frame) *garbageOf {
	if g.links == nil {
		g.links = map[string]*garbageOf{}
	}
	l := g.links[f.Link]
	if l == nil {
		l = &garbageOf{}
		g.links[f.Link] = l
	}
	if hour := f.Mono / int64(time.Hour); hour != l.hour {
		*l = garbageOf{hour: hour}
	}
	return l
}
