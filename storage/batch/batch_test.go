package batch

import (
	"os"
	"strings"
	"testing"
	"time"

	"github.com/fxamacker/cbor/v2"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
)

// epoch of the tests' sessions; any moment would do.
var epoch = time.Date(2031, 5, 17, 9, 0, 0, 123456789, time.UTC)

var testInfo = ingest.CaptureInfo{
	Station: "north-field", Session: "20310517-090000-ABCD", Epoch: epoch, Config: "[station]\n", Version: "1.2",
	Links: []ingest.CaptureLink{{Name: "pad-radio", Kind: "serial", Baud: 9600, Layout: "lark-bin"}, {Name: "net", Kind: "udp"}},
}

var testLinks = map[string]uint16{"pad-radio": 0, "net": 1}

func moment(t *rapid.T, name string) time.Time {
	return time.Unix(0, rapid.Int64Range(0, 1<<61).Draw(t, name)).UTC()
}

func number(t *rapid.T, name string) *float64 {
	if rapid.Bool().Draw(t, name+" there") {
		return nil
	}
	v := rapid.Float64().Draw(t, name)
	return &v
}

// entries draws what a session may hold.
func entries(t *rapid.T) []storage.Entry {
	passed := rapid.Int64Range(0, 1<<50).Draw(t, "start")
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) storage.Entry {
		text := rapid.String()
		switch rapid.IntRange(0, 5).Draw(t, "what") {
		case 0:
			return storage.Entry{Event: &flight.Event{
				Session: testInfo.Session, ID: text.Draw(t, "id"), At: moment(t, "at"), CalledAt: moment(t, "called"), Rocket: text.Draw(t, "rocket"),
				Kind: flight.Liftoff, Flight: rapid.IntRange(0, 99).Draw(t, "flight"), AtSD: number(t, "sd"), AltitudeM: number(t, "altitude"),
				AltitudeSD: number(t, "altitude sd"), SpeedMps: number(t, "speed"), Note: text.Draw(t, "note"),
			}}
		case 1:
			return storage.Entry{Alarm: &flight.Alarm{
				Session: testInfo.Session, ID: text.Draw(t, "id"), Change: rapid.IntRange(1, 9).Draw(t, "change"), Rocket: text.Draw(t, "rocket"),
				Link: text.Draw(t, "link"), Kind: "ballistic", Priority: flight.Act, Active: rapid.Bool().Draw(t, "active"), Acked: rapid.Bool().Draw(t, "acked"),
				RaisedAt: moment(t, "raised"), ChangedAt: moment(t, "changed"), Say: text.Draw(t, "say"), Reason: text.Draw(t, "reason"),
			}}
		}
		passed += rapid.Int64Range(0, 1<<40).Draw(t, "gap")
		l := rapid.SampledFrom(testInfo.Links).Draw(t, "link")
		mono := passed - rapid.Int64Range(0, 1<<30).Draw(t, "lag")
		return storage.Entry{Frame: &ingest.Frame{
			Session: testInfo.Session, Link: l.Name, N: rapid.Uint64().Draw(t, "n"), Mono: mono, Heard: epoch.Add(time.Duration(mono)), Passed: passed,
			Wire: rapid.IntRange(0, 70000).Draw(t, "wire"), Baud: l.Baud, RSSI: number(t, "rssi"), Bytes: rapid.SliceOfN(rapid.Byte(), 1, 40).Draw(t, "bytes"),
		}}
	}), 0, 50).Draw(t, "entries")
}

func schema(t *testing.T) cddl {
	t.Helper()
	text, err := os.ReadFile("batch.cddl")
	if err != nil {
		t.Fatal(err)
	}
	return parseCDDL(t, string(text))
}

// What is written is read again as it was, and is as batch.cddl says.
func TestRoundTrip(t *testing.T) {
	c := schema(t)
	rapid.Check(t, func(t *rapid.T) {
		b := &Batch{Station: testInfo.Station, Session: testInfo.Session, From: rapid.Int64Range(0, 1<<50).Draw(t, "from")}
		b.To = b.From + rapid.Int64Range(0, 1<<30).Draw(t, "more")
		if rapid.Bool().Draw(t, "described") {
			b.Info = &testInfo
		}
		if rapid.Bool().Draw(t, "over") {
			end := rapid.Int64Range(0, 1<<50).Draw(t, "end")
			b.End = &end
		}
		want := entries(t)
		b.Put(testLinks, want)
		data, err := b.Encode()
		if err != nil {
			t.Fatal(err)
		}
		if err := c.validate("batch", data); err != nil {
			t.Fatal(err)
		}
		got, err := Read(data)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(b, got, cmp.AllowUnexported(Batch{}, frame{}, note{})); d != "" {
			t.Fatalf("(-want +got):\n%s", d)
		}
		back, err := got.Entries(&testInfo)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(want, back); d != "" {
			t.Fatalf("entries (-want +got):\n%s", d)
		}
	})
}

// every has each kind of thing once.
func every() *Batch {
	v, end := -71.5, int64(9e9)
	b := &Batch{Station: testInfo.Station, Session: testInfo.Session, From: 100, To: 345, Info: &testInfo, End: &end}
	b.Put(testLinks, []storage.Entry{
		{Frame: &ingest.Frame{Link: "net", N: 1, Mono: 5e9, Passed: 5e9 + 1000, Wire: 3, RSSI: &v, Bytes: []byte{1, 2, 3}}},
		{Event: &flight.Event{Session: testInfo.Session, ID: "Teal/1/liftoff", At: epoch, CalledAt: epoch, Rocket: "Teal", Kind: flight.Liftoff, Flight: 1, AltitudeM: &v}},
		{Alarm: &flight.Alarm{Session: testInfo.Session, ID: "Teal/1/ballistic", Change: 1, Kind: "ballistic", Priority: flight.LookUp, Active: true, RaisedAt: epoch, ChangedAt: epoch}},
		{Frame: &ingest.Frame{Link: "pad-radio", N: 7, Mono: 6e9, Passed: 6e9, Bytes: []byte{9}}},
	})
	return b
}

// Each key that the schema requires is missed if it is not there, and one that it
// does not have is noticed: it describes all that is written, and only that.
func TestSchemaIsComplete(t *testing.T) {
	c := schema(t)
	data, err := every().Encode()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.validate("batch", data); err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"station", "session", "from", "to", "at", "frames", "notes"} {
		var m map[string]cbor.RawMessage
		if err := cbor.Unmarshal(data, &m); err != nil {
			t.Fatal(err)
		}
		delete(m, key)
		less, err := cbor.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		if c.validate("batch", less) == nil {
			t.Errorf("the schema does not miss %q", key)
		}
	}
	var m map[string]cbor.RawMessage
	if err := cbor.Unmarshal(data, &m); err != nil {
		t.Fatal(err)
	}
	m["more"] = m["to"]
	more, err := cbor.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	if c.validate("batch", more) == nil {
		t.Error("the schema does not notice a key that it does not have")
	}
	if _, err := Read(more); err != nil {
		t.Errorf("a key of a later version: %v", err)
	}
}

// A frame of 24 bytes costs less than as many again.
func TestCompact(t *testing.T) {
	const n = 1000
	b := &Batch{Station: testInfo.Station, Session: testInfo.Session}
	var in []storage.Entry
	for i := range int64(n) {
		mono := int64(3600e9) + i*2_500_000
		in = append(in, storage.Entry{Frame: &ingest.Frame{Link: "pad-radio", N: uint64(100000 + i), Mono: mono, Passed: mono + 150_000, Wire: 26, Bytes: make([]byte, 24)}})
	}
	b.Put(testLinks, in)
	data, err := b.Encode()
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%.1f bytes a frame of 24", float64(len(data))/n)
	if len(data) > 48*n {
		t.Errorf("%.1f bytes a frame of 24", float64(len(data))/n)
	}
}

func TestReadRefuses(t *testing.T) {
	for name, change := range map[string]func(*Batch){
		"a path":               func(b *Batch) { b.Session = "../x" },
		"a dot inside":         func(b *Batch) { b.Station = "a.b" },
		"no name":              func(b *Batch) { b.Station = "" },
		"ends before it began": func(b *Batch) { b.To = b.From - 1 },
		"another's":            func(b *Batch) { b.Info = &ingest.CaptureInfo{Station: b.Station, Session: "other", Epoch: epoch} },
		"an empty note":        func(b *Batch) { b.Notes[0].Event = nil },
		"a note behind all":    func(b *Batch) { b.Notes[1].After = 3 },
		"notes in disorder":    func(b *Batch) { b.Notes[1].After = 0 },
	} {
		b := every()
		change(b)
		data, err := b.Encode()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := Read(data); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", name, err)
		}
	}
	b := every()
	b.Frames[1].Link = 2
	if _, err := b.Entries(&testInfo); err == nil {
		t.Error("a link that is not there")
	}
}

func FuzzRead(f *testing.F) {
	b := every()
	whole, err := b.Encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(whole)
	b.Info, b.End, b.Frames, b.Notes = nil, nil, nil, nil
	empty, err := b.Encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(empty)
	f.Fuzz(func(t *testing.T, data []byte) {
		b, err := Read(data)
		if err != nil {
			return
		}
		entries, err := b.Entries(&testInfo)
		if err != nil {
			return
		}
		if len(entries) != len(b.Frames)+len(b.Notes) {
			t.Fatalf("%d entries of %d frames and %d notes", len(entries), len(b.Frames), len(b.Notes))
		}
		again, err := b.Encode()
		if err != nil {
			t.Fatalf("what was read cannot be written: %v", err)
		}
		if _, err := Read(again); err != nil {
			t.Fatalf("what was written cannot be read: %v", err)
		}
	})
}

// What a frame costs on its way out, and back at the collector.
func BenchmarkEncode(b *testing.B) {
	benchmark(b, func(x *Batch, _ []byte) error { _, err := x.Encode(); return err })
}

func BenchmarkRead(b *testing.B) {
	benchmark(b, func(_ *Batch, data []byte) error { _, err := Read(data); return err })
}

func benchmark(b *testing.B, do func(*Batch, []byte) error) {
	b.Helper()
	const n = 1000
	x := &Batch{Station: testInfo.Station, Session: testInfo.Session}
	var in []storage.Entry
	for i := range int64(n) {
		in = append(in, storage.Entry{Frame: &ingest.Frame{Link: "net", N: uint64(100000 + i), Mono: i, Passed: i, Wire: 26, Bytes: make([]byte, 24)}})
	}
	x.Put(testLinks, in)
	data, err := x.Encode()
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if err := do(x, data); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/n, "ns/frame")
}
