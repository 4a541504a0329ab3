package guess

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math"
	"slices"
	"strings"

	"padlark/decode"
	"padlark/ingest"
)

// lookBinary proposes a layout for frames of one length that are no text.
func lookBinary(in Input) (*Guess, error) {
	best, err := cutBinary(in)
	if err != nil {
		return nil, err
	}
	return best.guess(in.Seconds), nil
}

// guess proposes a layout for frames of one length.
func (best *cutting) guess(seconds float64) *Guess {
	l := decode.Layout{Name: "my-board", Framing: best.framing, Form: decode.Binary, Length: best.size, Checksum: best.sum}
	g := &Guess{Frames: len(best.frames), frames: best.frames}
	sumBytes := 0
	sumPoint := Point{"checksum", "none", perhaps, "none of the known ones fits at the end of the frames"}
	if best.sum.Kind != "" {
		_, sumBytes = decode.SumFunc(best.sum.Kind)
		sumPoint = Point{"checksum", best.sum.Kind, certain, "it agrees with the frames looked at"}
	}
	fields, endian := binaryFields(best.frames, 0, best.size-sumBytes, seconds)
	l.Endian = endian
	if best.sum.Endian == orElse(endian, "little") || sumBytes == 1 {
		l.Checksum.Endian = ""
	}
	g.Layout = l
	g.Points = []Point{
		{"framing", best.framing.Kind, best.sure, fmt.Sprintf("%d frames, %d of them of %d bytes", best.all, len(best.frames), best.size)},
		{"form", decode.Binary, certain, "most bytes are no text"},
		sumPoint,
		{"endian", orElse(endian, "little"), likely, "more of the numbers make sense so"},
	}
	g.Columns = fields
	best.readings(g, best.size-sumBytes, seconds)
	return g
}

// cutting is one way to cut a stream into frames of one length.
type cutting struct {
	framing ingest.Framing
	frames  [][]byte
	size    int
	all     int // frames of any length
	sum     decode.Checksum
	sure    Sure
	share   float64 // of the bytes that are in frames
}

// cutBinary tries every framing; one whose frames carry a checksum that fits wins.
func cutBinary(in Input) (*cutting, error) {
	var tried []cutting
	add := func(f ingest.Framing, frames [][]byte) {
		if c, ok := newCutting(f, frames, len(in.Bytes)); ok {
			tried = append(tried, c)
		}
	}
	if len(in.Messages) > 0 {
		add(ingest.Framing{Kind: ingest.FramingDatagram}, in.Messages)
	} else {
		for _, kind := range []string{ingest.FramingCOBS, ingest.FramingSLIP, ingest.FramingKISS} {
			f := ingest.Framing{Kind: kind}
			add(f, in.frames(f))
		}
		for _, f := range syncs(in.Bytes) {
			add(f, in.frames(f))
		}
	}
	if len(tried) == 0 {
		return nil, fmt.Errorf("these bytes are no text and no frames of one length in cobs, slip, kiss or behind a sync word: is the baud rate right? Else describe them by hand (padlark check --keys framing)")
	}
	best := &tried[0]
	for i := range tried[1:] {
		c := &tried[i+1]
		if c.worth() > best.worth() {
			best = c
		}
	}
	best.sure = likely
	if best.sum.Kind != "" {
		best.sure = certain
	}
	return best, nil
}

func (c *cutting) worth() float64 {
	w := c.share * float64(len(c.frames)) / float64(c.all)
	if c.sum.Kind != "" {
		w += 1
	}
	if c.framing.Kind == ingest.FramingSync {
		w -= 0.2 // anything repeats behind something
	}
	return w
}

// newCutting keeps the frames of the commonest length and looks for a checksum.
func newCutting(f ingest.Framing, frames [][]byte, total int) (cutting, bool) {
	sizes := map[int]int{}
	for _, m := range frames {
		sizes[len(m)]++
	}
	c := cutting{framing: f, all: len(frames)}
	for n, count := range sizes {
		if n >= 4 && (count > sizes[c.size] || count == sizes[c.size] && n > c.size) {
			c.size = n
		}
	}
	if c.size == 0 || sizes[c.size] < few || 10*sizes[c.size] < 6*len(frames) {
		return c, false
	}
	for _, m := range frames {
		if len(m) == c.size {
			c.frames = append(c.frames, m)
		}
	}
	c.share = 1
	if total > 0 {
		c.share = min(1, float64(len(c.frames)*c.size)/float64(total))
	}
	if f.Kind != ingest.FramingSync && c.share < 0.5 {
		return c, false // a delimiter that stands there by chance
	}
	c.sum = binaryChecksum(c.frames)
	return c, true
}

// binaryChecksum finds a checksum in the last bytes of nearly all frames.
func binaryChecksum(frames [][]byte) decode.Checksum {
	frames = frames[:min(len(frames), 80)]
	best, most := decode.Checksum{}, 0
	for _, name := range decode.ChecksumNames() {
		calc, size := decode.SumFunc(name)
		for _, endian := range []string{"little", "big"} {
			n := 0
			for _, m := range frames {
				if size >= len(m) {
					continue
				}
				body, end := m[:len(m)-size], m[len(m)-size:]
				if calc(body) == number(end, endian) {
					n++
				}
			}
			if n > most {
				best, most = decode.Checksum{Kind: name, Endian: endian}, n
			}
		}
	}
	if most < few || 10*most < 7*len(frames) {
		return decode.Checksum{}
	}
	return best
}

// number reads up to eight bytes.
func number(b []byte, endian string) uint32 {
	var v uint32
	for i := range b {
		c := b[i]
		if endian == "little" {
			c = b[len(b)-1-i]
		}
		v = v<<8 | uint32(c)
	}
	return v
}

// syncs proposes sync words: what stands again and again at one distance. With a
// frame's own constant bytes beside it the word may begin at several places, so each
// is proposed; a checksum decides between them.
func syncs(b []byte) (out []ingest.Framing) {
	const longest = 260
	b = b[:min(len(b), 64*1024)]
	counts := map[[2]byte][]int{}
	for i := 0; i+1 < len(b); i++ {
		w := [2]byte{b[i], b[i+1]}
		counts[w] = append(counts[w], i)
	}
	type found struct {
		word   [2]byte
		period int
		n      int
	}
	var all []found
	for w, at := range counts {
		if len(at) < few || w[0] == 0 && w[1] == 0 {
			continue
		}
		periods := map[int]int{}
		for i := 1; i < len(at); i++ {
			periods[at[i]-at[i-1]]++
		}
		for p, n := range periods {
			if p >= 6 && p <= longest && n >= few && 10*n*p >= 6*len(b) {
				all = append(all, found{w, p, n})
			}
		}
	}
	slices.SortFunc(all, func(x, y found) int {
		if x.n != y.n {
			return y.n - x.n
		}
		return bytes.Compare(x.word[:], y.word[:])
	})
	for _, f := range all[:min(len(all), 12)] {
		word := strings.ToUpper(hex.EncodeToString(f.word[:1]) + " " + hex.EncodeToString(f.word[1:]))
		framing := ingest.Framing{Kind: ingest.FramingSync, Sync: word, Size: f.period - 2}
		kept := framing
		kept.KeepSync = true
		out = append(out, framing, kept)
	}
	return out
}

// spot is a piece of the frame read as one type.
type spot struct {
	at, size int
	kind     string
	endian   string
	s        *series
	c        candidate
}

// binaryFields looks at every piece of a frame as every type, and keeps those that
// make most sense and do not overlap.
// from and size bound the bytes that are looked at.
func binaryFields(frames [][]byte, from, size int, seconds float64) (out []Column, endian string) {
	var spots []spot
	for _, e := range []string{"little", "big"} {
		for _, k := range []struct {
			kind string
			size int
		}{{"u32", 4}, {"f32", 4}, {"u16", 2}, {"i16", 2}, {"u8", 1}} {
			if k.size == 1 && e == "big" {
				continue
			}
			for at := from; at+k.size <= size; at++ {
				s := binarySeries(frames, at, k.size, k.kind, e)
				for _, c := range binaryCandidates(s, k.kind, seconds) {
					spots = append(spots, spot{at, k.size, k.kind, e, s, c})
				}
			}
		}
	}
	byEndian := map[string]float64{}
	for _, sp := range spots {
		if sp.size > 1 && sp.c.score >= 0.6 {
			byEndian[sp.endian] += sp.c.score
		}
	}
	if byEndian["big"] > byEndian["little"] {
		endian = "big"
	}
	for i := range spots {
		if spots[i].size > 1 && spots[i].endian != orElse(endian, "little") {
			spots[i].c.score -= 0.15
		}
	}
	slices.SortStableFunc(spots, func(a, b spot) int {
		switch {
		case a.c.score > b.c.score:
			return -1
		case a.c.score < b.c.score:
			return 1
		}
		return b.size - a.size
	})
	taken := make([]bool, size)
	roles := map[string]bool{}
	var chosen []spot
	for _, sp := range spots {
		if roles[sp.c.role] || sp.c.score < 0.45 || slices.Contains(taken[sp.at:sp.at+sp.size], true) {
			continue
		}
		roles[sp.c.role] = true
		for i := range sp.size {
			taken[sp.at+i] = true
		}
		chosen = append(chosen, sp)
	}
	slices.SortFunc(chosen, func(a, b spot) int { return a.at - b.at })
	return fillGaps(frames, chosen, from, size, endian), endian
}

// fillGaps makes columns of what was chosen, with skips between.
func fillGaps(frames [][]byte, chosen []spot, from, size int, endian string) (out []Column) {
	at := from
	shown := frames[len(frames)/2]
	gap := func(to int) {
		if to > at {
			out = append(out, Column{
				Field: decode.Field{Type: "skip", Size: to - at}, Raw: fmt.Sprintf("% x", shown[at:min(to, at+12)]),
				Why: fmt.Sprintf("bytes %d to %d say nothing that is known by their numbers", at, to-1),
				Ask: fmt.Sprintf("what are bytes %d to %d? Make them fields (type u8 u16 i16 u32 f32 ...), or leave the skip", at, to-1),
			})
			at = to
		}
	}
	for _, sp := range chosen {
		gap(sp.at)
		f := decode.Field{Name: sp.c.role, Type: sp.kind, Unit: sp.c.unit, Scale: sp.c.scale, Offset: sp.c.offset}
		if sp.size > 1 && sp.endian != orElse(endian, "little") {
			f.Endian = sp.endian
		}
		out = append(out, Column{Field: f, Raw: fmt.Sprintf("% x", shown[sp.at:sp.at+sp.size]), Sure: sureOf(sp.c.score), Why: strings.TrimPrefix(sp.c.why, ": "), Ask: sp.c.ask})
		at = sp.at + sp.size
	}
	gap(size)
	return out
}

// binarySeries reads one piece of every frame.
func binarySeries(frames [][]byte, at, size int, kind, endian string) *series {
	var order binary.ByteOrder = binary.LittleEndian
	if endian == "big" {
		order = binary.BigEndian
	}
	v := make([]float64, len(frames))
	for i, m := range frames {
		b := m[at : at+size]
		switch kind {
		case "u8":
			v[i] = float64(b[0])
		case "u16":
			v[i] = float64(order.Uint16(b))
		case "i16":
			v[i] = float64(int16(order.Uint16(b)))
		case "u32":
			v[i] = float64(order.Uint32(b))
		default:
			v[i] = float64(math.Float32frombits(order.Uint32(b)))
		}
	}
	s := newSeries(v)
	if kind == "f32" {
		s.decimals = 3
	}
	return s
}

// binaryCandidates is what a piece may be. Bytes fit many things by chance, so only
// what few numbers do counts.
func binaryCandidates(s *series, kind string, seconds float64) (out []candidate) {
	if s.n < few || s.same {
		return nil
	}
	whole := kind != "f32"
	for _, c := range valueCandidates(s, seconds) {
		switch c.role {
		case decode.FieldClock:
			if s.steady < 0.5 || kind == "u8" || kind == "i16" || whole && !lowByteMoves(s) || kind == "u16" && s.hi < 2000 {
				continue
			}
			if kind == "u16" { // starts again each minute or so; a wider one would be read so too
				c.score -= 0.15
			}
		case decode.FieldSeq:
			if kind == "i16" || kind == "f32" {
				continue
			}
			if kind == "u8" {
				c.score -= 0.2
			} else if kind == "u32" {
				c.score -= 0.1
			}
		case decode.PressurePa:
			if c.unit == "psi" || c.unit == "inHg" || kind == "u8" || kind == "i16" || kind == "u16" || !whole && c.unit != "hPa" && c.unit != "Pa" && c.unit != "kPa" || whole && c.unit != "Pa" && c.unit != "dPa" && c.unit != "cPa" {
				continue
			}
		case decode.CellV:
			if kind == "u8" || kind == "i16" || kind == "u32" || whole && c.unit != "mV" {
				continue
			}
			if !whole {
				c.score = 0.8
			}
		case decode.TemperatureC:
			if kind == "u8" || kind == "u16" || kind == "u32" || whole && (c.unit != "cdegC" || s.lo < 300 && s.hi > -300) || s.distinct < 3 {
				continue
			}
			c.score = 0.6
			if !whole {
				c.score = 0.8 // four bytes that are no such number by chance
			}
		case decode.ReleaseUs:
			if kind != "u16" || c.scale != 0 {
				continue
			}
		case decode.AltitudeM:
			if whole {
				continue
			}
		default:
			continue
		}
		if kind == "f32" && (math.Abs(s.lo) < 1e-6 && s.lo != 0 || s.hi > 1e9) {
			continue
		}
		out = append(out, c)
	}
	return out
}

// lowByteMoves says whether the lowest byte of a number changes; else it is a wider
// number's neighbour that is read with it.
func lowByteMoves(s *series) bool {
	first := math.Mod(s.v[0], 256)
	return slices.ContainsFunc(s.v, func(v float64) bool { return math.Mod(v, 256) != first })
}
