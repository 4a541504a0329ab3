package station

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/flight/sim"
	"padlark/ingest"
	"padlark/storage/journal"
	"padlark/storage/snapshot"
	"padlark/watch"
)

// fieldDay is the journal of a session with all that a station may have to learn:
// three layouts, losses, bit errors, flights with alarms, a second receiver, boards
// that nobody configured, a second sender under one id, boards that start again.
type fieldDay struct {
	cfg    *config.Config
	info   ingest.CaptureInfo
	frames []ingest.Frame
}

func drawFieldDay(t testing.TB, seconds int) fieldDay {
	t.Helper()
	sc, err := sim.Demo()
	if err != nil {
		t.Fatal(err)
	}
	epoch := time.Date(2026, 6, 13, 9, 0, 0, 0, time.UTC)
	s, err := sim.New(sc, 3, epoch)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	capture := filepath.Join(dir, "day.plarkcap")
	text := fmt.Sprintf("[station]\nname = \"day\"\ndata = %q\n[web]\nlisten = \"off\"\n", dir)
	info := ingest.CaptureInfo{Station: "day", Epoch: epoch}
	for _, l := range sc.Links {
		info.Links = append(info.Links, ingest.CaptureLink{Name: l.Name, Kind: l.Kind, Baud: l.Baud, Layout: l.Layout})
		text += fmt.Sprintf("[[link]]\nname = %q\nfile = %q\nlayout = %q\n", l.Name, capture, l.Layout)
	}
	text += sim.DemoLayouts()
	for _, r := range s.Rockets()[:2] { // of the third nobody knows
		text += fmt.Sprintf("[[rocket]]\nname = %q\nid = %d\n", r.Name, *r.ID)
	}
	w, err := ingest.CreateCapture(capture, info)
	if err != nil {
		t.Fatal(err)
	}
	for c, err := range s.Chunks(1) {
		if err != nil {
			t.Fatal(err)
		}
		if c.Heard > time.Duration(seconds)*time.Second {
			break
		}
		if err := w.WriteChunk(c); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	cfg, err := config.Parse("day.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	// The station's own line makes frames of the chunks.
	if err := Run(t.Context(), Options{Config: cfg, Log: zerolog.Nop()}); err != nil {
		t.Fatal(err)
	}
	made, err := filepath.Glob(filepath.Join(dir, "journal", "*"+journal.Packed))
	if err != nil || len(made) != 1 {
		t.Fatal(made, err)
	}
	d := fieldDay{cfg: cfg}
	d.read(t, made[0])
	d.addTrouble()
	return d
}

func (d *fieldDay) read(t testing.TB, path string) {
	t.Helper()
	r, err := journal.Open(path, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close() //nolint:errcheck // it was only read from
	d.info = r.Info()
	for {
		e, err := r.Next()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		if e.Frame != nil {
			d.frames = append(d.frames, *e.Frame)
		}
	}
}

// addTrouble adds what simulated boards do not do.
func (d *fieldDay) addTrouble() {
	r := rand.New(rand.NewPCG(7, 7))
	var more []ingest.Frame
	for i, f := range d.frames {
		switch {
		case f.Link == "pad-radio" && r.Float64() < 0.5: // a relay repeats it, at once or late
			f.Passed += int64(r.IntN(30e6))
			f.Heard, f.Mono = f.Heard.Add(10*time.Millisecond), f.Mono+10e6
			more = append(more, f)
		case f.Link == "text-radio" && i%7 == 0: // garbage
			f.Bytes = []byte("nothing that a board sends")
			f.Wire = len(f.Bytes)
			f.Passed++
			more = append(more, f)
		}
		if f.Link == "pad-radio" && len(f.Bytes) == 22 && i > len(d.frames)/3 { // a second board sends under the id
			f.Passed += 3e6
			f.Mono += 3e6
			f.Bytes = append([]byte(nil), f.Bytes...)
			f.Bytes[4] += 40 // of the number, see the layout lark-bin
			f.Bytes[7] -= 60 // of the clock
			binary.LittleEndian.PutUint16(f.Bytes[20:], crc16(f.Bytes[:20]))
			more = append(more, f)
		}
	}
	d.frames = append(d.frames, more...)
	// One is silent for a while, twice.
	silent := func(f ingest.Frame) bool { return f.Link == "field-wifi" && f.Mono%60e9 < 9e9 }
	d.frames = slices.DeleteFunc(d.frames, silent)
	slices.SortStableFunc(d.frames, func(a, b ingest.Frame) int { return int(a.Passed - b.Passed) })
	n := map[string]uint64{}
	last := int64(-1)
	for i := range d.frames {
		f := &d.frames[i]
		n[f.Link]++
		f.Passed = max(f.Passed, last+1, f.Mono)
		f.N, last = n[f.Link], f.Passed
	}
}

// crc16 is CRC-16/IBM-3740.
func crc16(b []byte) uint16 {
	crc := uint16(0xffff)
	for _, x := range b {
		crc ^= uint16(x) << 8
		for range 8 {
			if high := crc&0x8000 > 0; high {
				crc = crc<<1 ^ 0x1021
			} else {
				crc <<= 1
			}
		}
	}
	return crc
}

// station is one that has the journal of the day, up to so many frames, in a folder
// of its own.
func (d *fieldDay) station(t testing.TB, frames int) *station {
	t.Helper()
	cfg := *d.cfg
	cfg.Station.Data = t.TempDir()
	s := newStation(Options{Config: &cfg, Log: zerolog.Nop()})
	j, err := journal.Create(s.journals(), d.info)
	if err != nil {
		t.Fatal(err)
	}
	s.journal = j
	t.Cleanup(func() { _ = errors.Join(j.Close(0), j.Release()) })
	d.write(s, 0, frames)
	return s
}

func (d *fieldDay) write(s *station, from, to int) {
	for ; from < to; from += 100 {
		s.journal.Frames(d.frames[from:min(to, from+100)])
	}
}

// rebuiltOf is what a station would go on with.
func rebuiltOf(t testing.TB, s *station) *rebuilt {
	t.Helper()
	b, err := s.rebuild(t.Context(), s.journal.Path())
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// state is all of what was rebuilt, byte for byte.
func state(t testing.TB, b *rebuilt) []byte {
	t.Helper()
	known, err := known(b.Decoder)
	if err != nil {
		t.Fatal(err)
	}
	same := *b
	same.from, same.tail, same.end = 0, 0, 0 // what was kept synced the journal, which ends pages
	same.made.Events, same.made.Alarms = slices.Clip(slices.Clone(b.made.Events)), slices.Clip(slices.Clone(b.made.Alarms))
	var text bytes.Buffer
	if err := snapshot.Write(&text, &same, known); err != nil {
		t.Fatal(err)
	}
	return text.Bytes()
}

func madeText(t testing.TB, b *rebuilt) string {
	t.Helper()
	text, err := json.Marshal(b.made)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// TestLearnt looks at what is kept beside the journal.
func TestLearnt(t *testing.T) {
	d := drawFieldDay(t, 118)
	t.Run("at any place", d.testAnyPlace)
	t.Run("that does not fit", d.testNotFitting)
	t.Run("after a power cut", d.testPowerCut)
	t.Run("said once", d.testSaidOnce)
}

// testAnyPlace: what goes on from what was kept at any place, over and over,
// is what the whole journal makes: events and alarms to the last byte, and the state
// itself, on which all that comes later depends.
func (d *fieldDay) testAnyPlace(t *testing.T) {
	whole := d.station(t, len(d.frames))
	want := rebuiltOf(t, whole)
	if len(want.made.Alarms) < 10 || len(want.made.Events) < 8 {
		t.Fatalf("%d events and %d alarms are too few to tell anything", len(want.made.Events), len(want.made.Alarms))
	}
	wantState := state(t, want)
	t.Logf("%d frames, %d events, %d changes of alarms; the state has %d kB", len(d.frames), len(want.made.Events), len(want.made.Alarms), len(wantState)>>10)
	r := rand.New(rand.NewPCG(1, 2))
	for range 6 {
		places := []int{r.IntN(len(d.frames)), r.IntN(len(d.frames)), r.IntN(len(d.frames))}
		slices.Sort(places)
		s := d.station(t, 0)
		at := 0
		for _, p := range places {
			d.write(s, at, p)
			at = p
			if _, err := s.learn(t.Context()); err != nil {
				t.Fatal(err)
			}
		}
		d.write(s, at, len(d.frames))
		got := rebuiltOf(t, s)
		if got.from == 0 {
			t.Fatal("what was learnt was not used")
		}
		if g, w := madeText(t, got), madeText(t, want); g != w {
			t.Errorf("kept after %d frames, other events or alarms:\n%s\nwant\n%s", places, g, w)
		}
		if !bytes.Equal(state(t, got), wantState) {
			t.Errorf("kept after %d frames, another state", places)
		}
	}
}

// testNotFitting: what was kept is thrown away, and the whole journal read,
// when it is torn, of another program or journal, or ahead of the journal.
func (d *fieldDay) testNotFitting(t *testing.T) {
	half := len(d.frames) / 2
	want := madeText(t, rebuiltOf(t, d.station(t, len(d.frames))))
	other := d.station(t, 0)
	d.write(other, 10, half)
	if _, err := other.learn(t.Context()); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		used bool
		do   func(s *station, path string) error
	}{
		{"as it was", true, func(*station, string) error { return nil }},
		{"missing", false, func(_ *station, path string) error { return os.Remove(path) }},
		{"empty", false, func(_ *station, path string) error { return os.Truncate(path, 0) }},
		{"torn", false, func(_ *station, path string) error { return os.Truncate(path, 4000) }},
		{"a wrong byte", false, func(_ *station, path string) error {
			text, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			text[len(text)/2] ^= 1
			return os.WriteFile(path, text, 0o644)
		}},
		{"of another version", false, func(s *station, _ string) error { s.opt.Version = "another"; return nil }},
		{"of another journal", false, func(_ *station, path string) error {
			text, err := os.ReadFile(learntPath(other.journal.Path()))
			if err != nil {
				return err
			}
			return os.WriteFile(path, text, 0o644)
		}},
	} {
		s := d.station(t, half)
		if _, err := s.learn(t.Context()); err != nil {
			t.Fatal(err)
		}
		if err := c.do(s, learntPath(s.journal.Path())); err != nil {
			t.Fatal(err)
		}
		d.write(s, half, len(d.frames))
		got := rebuiltOf(t, s)
		if got.from > 0 != c.used {
			t.Errorf("%s: used from byte %d", c.name, got.from)
		}
		if g := madeText(t, got); g != want {
			t.Errorf("%s: other events or alarms:\n%s\nwant\n%s", c.name, g, want)
		}
	}
}

// testPowerCut: a journal that has lost its end and has grown again,
// further than it was, is not taken for the one that it was.
func (d *fieldDay) testPowerCut(t *testing.T) {
	half := len(d.frames) / 2
	s := d.station(t, half)
	if _, err := s.learn(t.Context()); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(learntPath(s.journal.Path()))
	if err != nil {
		t.Fatal(err)
	}
	cut := d.station(t, half-50)
	d.write(cut, half, len(d.frames))
	if err := os.WriteFile(learntPath(cut.journal.Path()), text, 0o644); err != nil {
		t.Fatal(err)
	}
	if b := rebuiltOf(t, cut); b.from > 0 {
		t.Error("what another journal has taught was used")
	}
}

// testSaidOnce: what was found and not said before the end is said by the next
// start, and what was said is not said again, wherever it was kept.
func (d *fieldDay) testSaidOnce(t *testing.T) {
	all := rebuiltOf(t, d.station(t, len(d.frames))).made
	s := d.station(t, len(d.frames))
	for i := range all.Events[:len(all.Events)-2] {
		if err := s.journal.Event(&all.Events[i]); err != nil {
			t.Fatal(err)
		}
	}
	for i := range all.Alarms[:len(all.Alarms)-3] {
		if err := s.journal.Alarm(&all.Alarms[i]); err != nil {
			t.Fatal(err)
		}
	}
	for _, kept := range []bool{false, true, true} {
		b := rebuiltOf(t, s)
		if b.from > 0 != kept {
			t.Fatalf("used from byte %d", b.from)
		}
		events, alarms := b.unsaid()
		if len(events) != 2 || len(alarms) == 0 || len(alarms) > 3 {
			t.Errorf("unsaid are %d events and %d changes of alarms, of which 2 and 3 were left", len(events), len(alarms))
		}
		if !kept && len(b.events) != len(all.Events)-2 {
			t.Errorf("%d events are known to have been said, of %d", len(b.events), len(all.Events)-2)
		}
		if _, err := s.learn(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	e := flight.Event{ID: all.Events[len(all.Events)-1].ID, CalledAt: all.Events[len(all.Events)-1].CalledAt}
	if err := s.journal.Event(&e); err != nil {
		t.Fatal(err)
	}
	if events, _ := rebuiltOf(t, s).unsaid(); len(events) != 1 {
		t.Errorf("%d events are unsaid after one of two was said", len(events))
	}
}

// What was said of strangers who are not followed any more, and alarms of which there
// is a newer one, take no room; what is not settled and what may be ahead stays.
func TestLearntForgets(t *testing.T) {
	epoch := time.Date(2026, 5, 16, 9, 0, 0, 0, time.UTC)
	engine, err := watch.NewEngine(watch.Config{Session: "s", Epoch: epoch, Rockets: []flight.Rocket{{Name: "Teal"}}})
	if err != nil {
		t.Fatal(err)
	}
	engine.Sample(&decode.Sample{Session: "s", Link: "pad", N: 1, Rocket: "Teal", Seq: 1, Clock: 1, Heard: epoch, At: epoch})
	b := &rebuilt{info: ingest.CaptureInfo{Epoch: epoch}, sampled: int64(time.Minute), Line: watch.Line{Engine: engine}, alarms: alarm.Newest{}}
	at := func(s int) time.Time { return epoch.Add(time.Duration(s) * time.Second) }
	for _, a := range []flight.Alarm{
		{ID: "gone/servo/1", Rocket: "gone", Kind: "servo", Acked: true, ChangedAt: at(5)},
		{ID: "gone/servo/2", Rocket: "gone", Kind: "servo", Active: true, ChangedAt: at(6)},
		{ID: "gone/silent/1", Rocket: "gone", Kind: "silent", Acked: true, ChangedAt: at(61)},
		{ID: "Teal/silent/1", Rocket: "Teal", Kind: "silent", Acked: true, RaisedAt: at(1), ChangedAt: at(2)},
		{ID: "Teal/silent/2", Rocket: "Teal", Kind: "silent", Acked: true, RaisedAt: at(3), ChangedAt: at(4)},
		{ID: "disk-full/7", Kind: "disk-full", Acked: true, RaisedAt: at(1), ChangedAt: at(2)},
	} {
		b.alarms[a.ID] = a
	}
	b.events = map[string]flight.Event{}
	for _, e := range []flight.Event{
		{ID: "gone/1/liftoff", Rocket: "gone", Flight: 1, Kind: flight.Liftoff, CalledAt: at(5)},
		{ID: "gone/2/liftoff", Rocket: "gone", Flight: 2, Kind: flight.Liftoff, CalledAt: at(61)},
		{ID: "Teal/1/liftoff", Rocket: "Teal", Flight: 1, Kind: flight.Liftoff, CalledAt: at(5)},
		{ID: "Teal/1/touchdown", Rocket: "Teal", Flight: 1, Kind: flight.Touchdown, CalledAt: at(15)},
		{ID: "Teal/2/liftoff", Rocket: "Teal", Flight: 2, Kind: flight.Liftoff, CalledAt: at(25)},
		{ID: "Teal/2/reboot", Rocket: "Teal", Flight: 2, Kind: flight.Reboot, CalledAt: at(26)},
	} {
		b.events[e.ID] = e
	}
	b.forget()
	got := append(slices.Sorted(maps.Keys(b.alarms)), slices.Sorted(maps.Keys(b.events))...)
	want := []string{"Teal/silent/2", "disk-full/7", "gone/servo/2", "gone/silent/1", "Teal/2/liftoff", "gone/2/liftoff"}
	if !slices.Equal(got, want) {
		t.Errorf("kept are\n%q, want\n%q", got, want)
	}
}
