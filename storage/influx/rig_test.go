package influx

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/flight/phrase"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/influx/influxtest"
	"padlark/storage/journal"
	"padlark/storage/sqlite"
)

// epoch of the tests' sessions; any moment in the past would do.
var epoch = time.Date(2021, 5, 17, 9, 0, 0, 123456789, time.UTC)

func ptr[T any](v T) *T { return &v }

// rig is the part of a station that the writer needs: the journals of its
// sessions, the archive and the follower that fills it.
type rig struct {
	t       testing.TB
	archive *sqlite.Archive
	dir     string
	journal *journal.Journal // of the session that runs
	writer  *sqlite.Writer   // of the archive
	decoder journal.Decoder
	end     func()

	mu       sync.Mutex
	register *alarm.Register
	alarms   []flight.Alarm // about the server, as published
}

// newRig makes a station with a session that runs.
func newRig(t testing.TB, session string) *rig {
	t.Helper()
	r := &rig{t: t, dir: t.TempDir(), decoder: fakeDecoder{}, end: func() {}}
	var err error
	if r.archive, err = sqlite.Open(t.Context(), filepath.Join(r.dir, sqlite.FileName), sqlite.Options{NoSync: true}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		r.end()
		if err := r.archive.Close(); err != nil {
			t.Error(err)
		}
	})
	r.startSession(session)
	return r
}

// links and rockets of the tests' sessions; a link has one rocket.
var (
	links   = []string{"pad-radio", "far radio"}
	rockets = map[string]string{"pad-radio": "Teal", "far radio": "Rust"}
)

// startSession ends the session that runs, if there is one, and starts another.
func (r *rig) startSession(id string) {
	r.t.Helper()
	r.end()
	r.register = alarm.ForStation(id)
	err := r.archive.StartSession(r.t.Context(), storage.Session{
		ID: id, Station: "north-field", Epoch: epoch, Rockets: []flight.Rocket{{Name: "Teal"}, {Name: "Rust"}}, Links: links,
	})
	if err != nil {
		r.t.Fatal(err)
	}
	info := ingest.CaptureInfo{Station: "north-field", Session: id, Epoch: epoch}
	for _, l := range links {
		info.Links = append(info.Links, ingest.CaptureLink{Name: l, Kind: "udp"})
	}
	j, err := journal.Create(filepath.Join(r.dir, "journal"), info)
	if err != nil {
		r.t.Fatal(err)
	}
	w, err := sqlite.NewWriter(r.t.Context(), r.archive, j, r.decoder)
	if err != nil {
		r.t.Fatal(err)
	}
	r.journal, r.writer = j, w
	done := make(chan error, 1)
	go func() { done <- w.Run(context.Background()) }()
	// The archive's follower ends when it has read the closed journal.
	r.end = sync.OnceFunc(func() {
		if err := errors.Join(j.Close(time.Hour), <-done, j.Release()); err != nil {
			r.t.Error(err)
		}
	})
}

// Raise raises an alarm of the copy, as a station does.
func (r *rig) Raise(kind string, p flight.Priority, say, reason phrase.Phrase) {
	now := time.Now()
	r.tell(func() []flight.Alarm { return r.register.Raise(kind, p, say, reason, now, now.UnixMilli()) })
}

// Clear returns one to normal.
func (r *rig) Clear(kind string, say phrase.Phrase) {
	r.tell(func() []flight.Alarm { return r.register.Clear(kind, say, time.Now()) })
}

func (r *rig) tell(change func() []flight.Alarm) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, a := range change() {
		r.alarms = append(r.alarms, a)
		if err := r.journal.Alarm(&a); err != nil {
			r.t.Error(err)
		}
	}
}

// options for a server, with short pauses.
func (r *rig) options(s *influxtest.Server) Options {
	o := r.optionsAt(s.URL)
	o.Org, o.Bucket, o.Token = s.Org(), s.Database, s.Token()
	return o
}

func (r *rig) optionsAt(url string) Options {
	return Options{
		URL: url, Bucket: "b", Station: "north-field", Dir: filepath.Join(r.dir, "influx"),
		Timeout: 10 * time.Second, RetryMin: 20 * time.Millisecond, RetryMax: 200 * time.Millisecond,
		AlarmAfter: 50 * time.Millisecond, CloseTime: 30 * time.Second, gather: 20 * time.Millisecond, Log: zerolog.New(zerolog.NewTestWriter(r.t)),
	}
}

// make makes a writer for the session that runs.
func (r *rig) make(o Options) *Writer {
	r.t.Helper()
	w, err := NewWriter(r.t.Context(), o, Running{Journal: r.journal, Decoder: r.decoder, Archive: r.archive, Archived: r.writer.Drain, Alarms: r})
	if err != nil {
		r.t.Fatal(err)
	}
	return w
}

// start runs a writer; stop ends it and waits for it.
func (r *rig) start(o Options) (w *Writer, stop func()) {
	r.t.Helper()
	w = r.make(o)
	return w, r.running(w.Run)
}

// running runs something until the function that it returns is called, which
// waits for it.
func (r *rig) running(run func(context.Context) error) (stop func()) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- run(ctx) }()
	stop = sync.OnceFunc(func() {
		cancel()
		if err := <-done; err != nil {
			r.t.Error(err)
		}
	})
	r.t.Cleanup(stop)
	return stop
}

// publish lets the session hear frames from n to m (not included) on two links,
// with all that belongs to them: every tenth frame is rejected, every fifth has
// the same time as the one before, every 50th brings an event and an alarm.
func (r *rig) publish(n, m uint64) {
	r.t.Helper()
	must := func(err error) {
		if err != nil {
			r.t.Fatal(err)
		}
	}
	for ; n < m; n++ {
		for _, l := range links {
			f := testFrame(r.journal.Info().Session, l, n)
			if !r.journal.Frames([]ingest.Frame{f}) {
				r.t.Fatal(r.journal.State().Trouble)
			}
			if n%50 != 1 {
				continue
			}
			s := testSample(f)
			must(r.journal.Event(&flight.Event{Session: s.Session, ID: fmt.Sprintf("%s/%d", s.Rocket, n), Rocket: s.Rocket,
				Kind: flight.Reboot, At: s.At, CalledAt: s.At.Add(time.Second / 8), AltitudeM: ptr(1.5), Note: `said "again"`}))
			must(r.journal.Alarm(&flight.Alarm{Session: s.Session, ID: fmt.Sprintf("%s/reboot/%d", s.Rocket, n), Change: 1, Rocket: s.Rocket,
				Kind: "reboot", Priority: flight.Act, Active: true, RaisedAt: s.At, ChangedAt: s.At, Say: "Reboot", Reason: "It started again."}))
		}
	}
}

func testFrame(session, link string, n uint64) ingest.Frame {
	mono := int64(n) * 50_000_000
	return ingest.Frame{Session: session, Link: link, N: n, Heard: epoch.Add(time.Duration(mono)), Mono: mono, Passed: mono, Bytes: []byte{1, 2}}
}

// fakeDecoder knows of each frame what it is by its number.
type fakeDecoder struct{}

func (fakeDecoder) Decode(f ingest.Frame) (decode.Sample, error) {
	if f.N%10 == 0 {
		return decode.Sample{}, &decode.Reject{Kind: decode.Corrupt, Reason: decode.ReasonChecksum, Offset: -1}
	}
	return testSample(f), nil
}

func testSample(f ingest.Frame) decode.Sample {
	at := epoch.Add(time.Duration(f.Mono - f.Mono%250_000_000/50_000_000/4*50_000_000))
	return decode.Sample{
		Session: f.Session, Link: f.Link, N: f.N, Rocket: rockets[f.Link], Boot: 1, Seq: int64(f.N), Clock: int64(f.N) * 50_000,
		Heard: f.Heard, At: at, Passed: f.Passed, RSSI: ptr(-60 - float64(f.N%7)),
		Values: decode.Channels{
			Names:  []string{"pressure_pa", "temperature_c", "cell_v", "time"},
			Values: []float64{101325 - float64(f.N)*1.1, 20 + float64(f.N%100)/7, math.NaN(), float64(f.N)},
		},
	}
}

// settled waits until the archive and the server have everything, what the
// writer itself adds while it is at it included.
func (r *rig) settled(w *Writer, limit time.Duration) {
	r.t.Helper()
	ctx, cancel := context.WithTimeout(r.t.Context(), limit)
	defer cancel()
	for end := int64(0); end < r.journal.State().End; {
		end = r.journal.State().End
		if err := errors.Join(r.writer.Drain(ctx, end), w.follow.WaitFor(ctx, end)); err != nil {
			r.t.Fatal(err)
		}
	}
}

// until waits for a condition of another goroutine.
func until(t testing.TB, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(30 * time.Second); !ok(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%s did not happen", what)
		}
	}
}

// published lists the changes of alarms of a kind.
func (r *rig) published(kind string) []flight.Alarm {
	r.mu.Lock()
	defer r.mu.Unlock()
	var out []flight.Alarm
	for _, a := range r.alarms {
		if a.Kind == kind {
			out = append(out, a)
		}
	}
	return out
}

// compare checks that the server holds what the archive holds of a session:
// every sample with every value, its tags and its time, and the numbers of
// events and alarms.
func (r *rig) compare(s *influxtest.Server, session string) {
	r.t.Helper()
	ctx := r.t.Context()
	type key struct {
		rocket, link string
		n            uint64
	}
	have := map[key]influxtest.Row{}
	rows := s.InfluxQL(s.Database, fmt.Sprintf(`SELECT * FROM sample WHERE session = '%s'`, session))
	for _, p := range rows {
		n, err := p["n"].(json.Number).Int64()
		if err != nil {
			r.t.Fatal(err)
		}
		have[key{p["rocket"].(string), p["link"].(string), uint64(n)}] = p
	}
	if len(have) != len(rows) {
		r.t.Errorf("%d points are doubled", len(rows)-len(have))
	}
	want := 0
	err := r.archive.Samples(ctx, storage.Query{Session: session}, func(m *decode.Sample) error {
		want++
		p := have[key{m.Rocket, m.Link, m.N}]
		if p == nil {
			return fmt.Errorf("sample %d of %s on %s is not on the server", m.N, m.Rocket, m.Link)
		}
		return samePoint(p, m)
	})
	if err != nil {
		r.t.Error(err)
	}
	if want != len(rows) {
		r.t.Errorf("server has %d samples, archive %d", len(rows), want)
	}
	events, err := r.archive.Events(ctx, storage.Query{Session: session})
	if err != nil {
		r.t.Fatal(err)
	}
	alarms, err := r.archive.Alarms(ctx, storage.Query{Session: session})
	if err != nil {
		r.t.Fatal(err)
	}
	for m, n := range map[string]int{"event": len(events), "alarm": len(alarms)} {
		if got := len(s.InfluxQL(s.Database, fmt.Sprintf(`SELECT * FROM %s WHERE session = '%s'`, m, session))); got != n {
			r.t.Errorf("server has %d points of %s, archive %d", got, m, n)
		}
	}
}

// samePoint compares one point with the sample of the archive.
func samePoint(p influxtest.Row, m *decode.Sample) error {
	ns, err := p["time"].(json.Number).Int64()
	if err != nil {
		return err
	}
	if us := m.At.UnixMicro(); ns/1000 != us {
		return fmt.Errorf("sample %d: time is %d ns, archive has %d µs", m.N, ns, us)
	}
	for i, name := range m.Values.Names {
		v := m.Values.Values[i]
		got := p[fieldName(name)]
		if math.IsNaN(v) {
			if got != nil {
				return fmt.Errorf("sample %d: %s is %v, archive has none", m.N, name, got)
			}
			continue
		}
		if got == nil {
			return fmt.Errorf("sample %d: %s is missing", m.N, name)
		}
		if f, err := got.(json.Number).Float64(); err != nil || f != v {
			return fmt.Errorf("sample %d: %s is %v, archive has %v", m.N, name, got, v)
		}
	}
	if f, err := p["link_rssi_dbm"].(json.Number).Float64(); err != nil || f != *m.RSSI {
		return fmt.Errorf("sample %d: link_rssi_dbm is %v, archive has %v", m.N, p["link_rssi_dbm"], *m.RSSI)
	}
	return nil
}

// number reads a number of an answer.
func number(t testing.TB, v any) float64 {
	t.Helper()
	n, ok := v.(json.Number)
	if !ok {
		t.Fatalf("%v (%T) is no number", v, v)
	}
	f, err := n.Float64()
	if err != nil {
		t.Fatal(err)
	}
	return f
}
