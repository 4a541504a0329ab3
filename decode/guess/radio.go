package guess

import (
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"padlark/decode"
	"padlark/decode/aprs"
	"padlark/ingest"
)

func readHex(s string) ([]byte, bool) {
	b, err := hex.DecodeString(strings.NewReplacer(" ", "", ":", "").Replace(s))
	return b, err == nil
}

func readBase64(s string) ([]byte, bool) {
	s = strings.NewReplacer("-", "+", "_", "/").Replace(strings.TrimRight(s, "="))
	b, err := base64.RawStdEncoding.DecodeString(s)
	return b, err == nil
}

// lookMonitored proposes a layout for AX.25 frames that a program has written as
// lines, "SOURCE>DESTINATION,PATH:information".
func lookMonitored(in Input, depth int) *Guess {
	framing := ingest.Framing{Kind: ingest.FramingLine}
	if len(in.Messages) > 0 { // datagrams are not lines
		return nil
	}
	return ax25Guess(framing, linesOf(in, framing), true, in.Seconds, depth)
}

// lookAX25 proposes a layout for AX.25 frames as a TNC hands them over.
func lookAX25(in Input, depth int) *Guess {
	for _, c := range in.cuts() {
		if g := ax25Guess(c.framing, c.frames, false, in.Seconds, depth); g != nil {
			return g
		}
	}
	return nil
}

// ax25Guess looks at what the frames of all sources carry.
func ax25Guess(framing ingest.Framing, frames [][]byte, monitored bool, seconds float64, depth int) *Guess {
	g := &Guess{Layout: decode.Layout{Name: "my-board", Framing: framing, Form: decode.AX25, Sources: map[string]uint32{}}}
	var infos [][]byte
	var to []string
	count := map[string]int{}
	for _, b := range frames {
		from, dest, info, ok := decode.CutAX25(b, monitored)
		if !ok || len(info) == 0 {
			continue
		}
		count[from]++
		infos, to, g.frames = append(infos, info), append(to, dest), append(g.frames, b)
	}
	if len(infos) < few || 10*len(infos) < 7*len(frames) {
		return nil
	}
	inner := aprsGuess(infos, to)
	if inner == nil {
		inner = within(infos, seconds, depth)
	}
	if inner == nil {
		return nil
	}
	g.Frames = len(g.frames)
	g.Parts = []*Guess{inner}
	names := make([]string, 0, len(count))
	for c := range count {
		names = append(names, c)
	}
	slices.Sort(names)
	for i, c := range names[:min(len(names), 16)] {
		g.Layout.Sources[c] = uint32(i + 1)
	}
	g.Points = []Point{
		{"framing", framing.Kind, certain, fmt.Sprintf("%d frames", len(frames))},
		{"form", decode.AX25, certain, fmt.Sprintf("%d of them are UI frames of %s", len(infos), strings.Join(names[:min(len(names), 4)], ", "))},
		{"inner", inner.Layout.Form, likely, "what they carry"},
	}
	if len(names) > 1 {
		g.Asks = append(g.Asks, "which of the stations are your rockets? Leave only those in sources, with the id of each rocket")
	}
	return g
}

// aprsGuess is for reports of positions and of telemetry; nil if less than half are.
func aprsGuess(infos [][]byte, to []string) *Guess {
	var reports []aprs.Report
	var shown [][]byte
	var titles []string
	read := 0
	for i, info := range infos {
		if d, ok, bad := aprs.ReadDefinition(info); ok {
			if read++; bad == nil && d.Kind == "PARM" {
				titles = d.Names
			}
			continue
		}
		var r aprs.Report
		if aprs.Read(to[i], info, &r) == nil {
			read++
			reports, shown = append(reports, r), append(shown, info)
		}
	}
	if 2*read < len(infos) || len(reports) == 0 {
		return nil
	}
	g := &Guess{Layout: decode.Layout{Form: decode.APRS}, Frames: len(reports), frames: shown}
	add := func(name, unit, column, why string, of func(r *aprs.Report) float64) {
		if !slices.ContainsFunc(reports, func(r aprs.Report) bool { return !math.IsNaN(of(&r)) }) {
			return
		}
		g.Columns = append(g.Columns, Column{Field: decode.Field{Name: name, Unit: unit, Column: column}, Title: column, Sure: certain, Why: why})
	}
	const says = "the report says what it is"
	add(decode.FieldClock, "s", "time", says, func(r *aprs.Report) float64 { return r.TimeS })
	add(decode.LatitudeDeg, "", "latitude", says, func(r *aprs.Report) float64 { return r.LatitudeDeg })
	add(decode.LongitudeDeg, "", "longitude", says, func(r *aprs.Report) float64 { return r.LongitudeDeg })
	add(decode.GPSAltitudeM, "", "altitude", says, func(r *aprs.Report) float64 { return r.AltitudeM })
	add("course_deg", "", "course", says, func(r *aprs.Report) float64 { return r.CourseDeg })
	add("ground_speed_mps", "", "speed", says, func(r *aprs.Report) float64 { return r.SpeedMps })
	add(decode.FieldSeq, "", "sequence", says, func(r *aprs.Report) float64 { return r.Sequence })
	used := map[string]bool{}
	for k := range 5 {
		of := func(r *aprs.Report) float64 { return r.Analog[k] }
		column, title := "a"+strconv.Itoa(k+1), ""
		if k < len(titles) && titles[k] != "" {
			column, title = titles[k], titles[k]
		}
		var cells []string
		for i := range reports {
			cells = append(cells, strconv.FormatFloat(of(&reports[i]), 'g', -1, 64))
		}
		c := columnsOf([][]string{cells}, []string{title}, 0)[0]
		if title == "" || used[c.Field.Name] {
			c = Column{Field: decode.Field{Name: "a" + strconv.Itoa(k+1)}, Ask: fmt.Sprintf("what is the value a%d of the telemetry? Name it, with its unit and scale, or leave it", k+1)}
		}
		used[c.Field.Name] = true
		before := len(g.Columns)
		add(c.Field.Name, c.Field.Unit, column, orElse(c.Why, "a value of its telemetry"), of)
		if len(g.Columns) > before {
			last := &g.Columns[before]
			last.Sure, last.Ask = min(c.Sure, likely), c.Ask
		}
	}
	return g
}

// lookPackets proposes a layout for space packets: whole messages, or a stream with or
// without the sync marker of CCSDS 131.0-B before each.
func lookPackets(in Input, _ int) *Guess {
	if len(in.Messages) > 0 {
		return packetGuess(ingest.Framing{Kind: ingest.FramingDatagram}, in.Messages, in.Seconds)
	}
	for _, sync := range []string{"1A CF FC 1D", ""} {
		f := ingest.Framing{Kind: ingest.FramingSync, Sync: sync, LengthAt: 4, LengthBytes: 2, LengthEndian: "big", LengthAdd: 1}
		frames := in.frames(f)
		if sync == "" {
			frames = chained(in.Bytes)
		}
		if g := packetGuess(f, frames, in.Seconds); g != nil {
			return g
		}
	}
	for _, c := range in.cuts() {
		if g := packetGuess(c.framing, c.frames, in.Seconds); g != nil {
			return g
		}
	}
	return nil
}

// isPacket says whether bytes are a whole telemetry packet, by its header.
func isPacket(b []byte) bool {
	return len(b) > 7 && b[0]>>5 == 0 && b[0]&0x10 == 0 && b[2]>>6 == 3 && int(binary.BigEndian.Uint16(b[4:]))+7 == len(b) &&
		binary.BigEndian.Uint16(b)&0x7ff != 0x7ff
}

// chained cuts packets that stand one behind the other.
func chained(b []byte) (out [][]byte) {
	for at := 0; at+7 < len(b); {
		end := at + int(binary.BigEndian.Uint16(b[at+4:])) + 7
		if end > len(b) || !isPacket(b[at:end]) {
			at++
			continue
		}
		out = append(out, b[at:end])
		at = end
	}
	return out
}

// packetGuess looks at the packets of the commonest identifier and length.
func packetGuess(f ingest.Framing, frames [][]byte, seconds float64) *Guess {
	var packets [][]byte
	kinds := map[[2]int]int{}
	best := [2]int{}
	for _, b := range frames {
		if !isPacket(b) {
			continue
		}
		packets = append(packets, b)
		k := [2]int{int(binary.BigEndian.Uint16(b) & 0x7ff), len(b)}
		if kinds[k]++; kinds[k] > kinds[best] {
			best = k
		}
	}
	if len(packets) < few || 10*len(packets) < 8*len(frames) || kinds[best] < few {
		return nil
	}
	packets = slices.DeleteFunc(packets, func(b []byte) bool {
		return int(binary.BigEndian.Uint16(b)&0x7ff) != best[0] || len(b) != best[1]
	})
	rises := 0 // the packets' own count
	for i := 1; i < len(packets); i++ {
		if (binary.BigEndian.Uint16(packets[i][2:])-binary.BigEndian.Uint16(packets[i-1][2:]))&0x3fff < 16 {
			rises++
		}
	}
	sum := binaryChecksum(packets)
	if 2*rises < len(packets) && sum.Kind == "" || f.Kind == ingest.FramingSync && f.Sync == "" && sum.Kind == "" {
		return nil
	}
	sumBytes := 0
	if sum.Kind != "" {
		_, sumBytes = decode.SumFunc(sum.Kind)
		if sum.Endian == "big" {
			sum.Endian = ""
		}
	}
	inner := &Guess{Layout: decode.Layout{Form: decode.Binary, Endian: "big"}, Frames: len(packets)}
	for _, b := range packets {
		inner.frames = append(inner.frames, b[6:len(b)-sumBytes])
	}
	inner.Columns = packetFields(inner.frames, best[1]-6-sumBytes, seconds)
	g := &Guess{Layout: decode.Layout{Name: "my-board", Framing: f, Form: decode.SpacePacket, Checksum: sum, APID: best[:1]}, Frames: len(packets), frames: packets, Parts: []*Guess{inner}}
	g.Points = []Point{
		{"framing", f.Kind, certain, fmt.Sprintf("%d frames", len(frames))},
		{"form", decode.SpacePacket, certain, fmt.Sprintf("%d are telemetry packets of CCSDS 133.0-B with the identifier %d", len(packets), best[0])},
	}
	if sum.Kind != "" {
		g.Points = append(g.Points, Point{"checksum", sum.Kind, certain, "it agrees with the packets looked at"})
	}
	if other := len(frames) - len(packets); other > 0 {
		g.Asks = append(g.Asks, fmt.Sprintf("%d frames have another identifier or length: they need a layout of their own if they matter", other))
	}
	return g
}

// packetFields are the fields of a packet's data, whose first bytes may be a time code
// with its preamble (CCSDS 301.0-B, 3.2.2 and 3.3.2).
func packetFields(frames [][]byte, size int, seconds float64) []Column {
	if size < 2 {
		return nil
	}
	first := frames[0][0]
	same := !slices.ContainsFunc(frames, func(b []byte) bool { return b[0] != first })
	kind, bytes := "", 0
	switch id := first >> 4 & 7; {
	case !same || first&0x80 != 0:
	case id == 1 || id == 2:
		whole, part := int(first>>2&3)+1, int(first&3)
		kind, bytes = fmt.Sprintf("cuc%d.%d", whole, part), whole+part
	case id == 4 && first&0x04 == 0 && first&3 == 0:
		kind, bytes = "cds", 6
	}
	if kind == "" || 1+bytes > size || !timeRises(frames, bytes) {
		fields, _ := binaryFields(frames, 0, size, seconds)
		return fields
	}
	shown := frames[len(frames)/2]
	out := []Column{
		{Field: decode.Field{Name: "preamble", Type: "u8", Only: int64(first), Ignore: true}, Raw: fmt.Sprintf("%02x", first), Sure: likely, Why: "it says which time code follows"},
		{Field: decode.Field{Name: decode.FieldClock, Type: kind}, Raw: fmt.Sprintf("% x", shown[1:1+bytes]), Sure: likely, Why: "a time code of CCSDS 301.0-B, as its preamble says"},
	}
	fields, endian := binaryFields(frames, 1+bytes, size, seconds)
	for _, c := range fields {
		if c.Field.Name == decode.FieldClock {
			c.Field.Name, c.Field.Unit = "counter", ""
		}
		if c.Field.Endian == "" && endian != "big" && c.Field.Type != "skip" {
			c.Field.Endian = "little"
		} else if c.Field.Endian == "big" {
			c.Field.Endian = ""
		}
		out = append(out, c)
	}
	return out
}

// timeRises says whether the bytes behind the preamble count up.
func timeRises(frames [][]byte, n int) bool {
	up := 0
	for i := 1; i < len(frames); i++ {
		if string(frames[i][1:1+n]) > string(frames[i-1][1:1+n]) {
			up++
		}
	}
	return 10*up >= 8*(len(frames)-1)
}
