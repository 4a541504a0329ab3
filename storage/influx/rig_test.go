package influx

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"padlark/bus"
	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage/influx/influxtest"
	"padlark/storage/sqlite"
)

// epoch of the tests' sessions; any moment in the past would do.
var epoch = time.Date(2021, 5, 17, 9, 0, 0, 123456789, time.UTC)

func ptr[T any](v T) *T { return &v }

// rig is the part of a station that the writer needs: bus, archive and the
// archive's own writer.
type rig struct {
	t       testing.TB
	bus     *bus.Bus
	archive *sqlite.Archive
	writer  *sqlite.Writer
	dir     string

	mu     sync.Mutex
	alarms []flight.Alarm // about the server, as published
}

func newRig(t testing.TB, o bus.Options) *rig {
	t.Helper()
	r := &rig{t: t, dir: t.TempDir()}
	o.Station, o.Memory = "north-field", true
	var err error
	if r.bus, err = bus.Open(t.Context(), o); err != nil {
		t.Fatal(err)
	}
	if r.archive, err = sqlite.Open(t.Context(), filepath.Join(r.dir, sqlite.FileName), sqlite.Options{NoSync: true}); err != nil {
		t.Fatal(err)
	}
	r.writer = sqlite.NewWriter(r.archive, r.bus)
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- r.writer.Run(ctx) }()
	unsubscribe, err := r.bus.Subscribe([]bus.Kind{bus.Alarm}, func(m bus.Msg) {
		if a, err := m.Alarm(); err == nil {
			r.mu.Lock()
			r.alarms = append(r.alarms, a)
			r.mu.Unlock()
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		unsubscribe()
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
		if err := r.bus.Close(); err != nil {
			t.Error(err)
		}
		if err := r.archive.Close(); err != nil {
			t.Error(err)
		}
	})
	return r
}

// options for a server, with short pauses.
func (r *rig) options(s *influxtest.Server) Options {
	return Options{
		URL: s.URL, Org: s.Org(), Bucket: s.Database, Token: s.Token(), Station: "north-field", Dir: filepath.Join(r.dir, "influx"),
		Timeout: 10 * time.Second, RetryMin: 20 * time.Millisecond, RetryMax: 200 * time.Millisecond,
		AlarmAfter: 50 * time.Millisecond, CloseTime: 30 * time.Second, gather: 20 * time.Millisecond, ackWait: time.Second, Log: zerolog.New(zerolog.NewTestWriter(r.t)),
	}
}

// start runs a writer; stop ends it and waits for it.
func (r *rig) start(o Options, session string) (w *Writer, stop func()) {
	r.t.Helper()
	w, err := NewWriter(o, session, r.bus, r.archive, nil)
	if err != nil {
		r.t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- w.Run(ctx) }()
	var once sync.Once
	stop = func() {
		once.Do(func() {
			cancel()
			if err := <-done; err != nil {
				r.t.Error(err)
			}
		})
	}
	r.t.Cleanup(stop)
	return w, stop
}

func (r *rig) startSession(id string) {
	r.t.Helper()
	err := r.archive.StartSession(r.t.Context(), sqlite.Session{
		ID: id, Station: "north-field", Epoch: epoch,
		Rockets: []flight.Rocket{{Name: "Teal"}, {Name: "Rust"}}, Links: []string{"pad-radio", "far radio"},
	})
	if err != nil {
		r.t.Fatal(err)
	}
}

// publish sends frames from n to m (not included) of two rockets on two links
// with all that belongs to them: every tenth frame is rejected, every fifth has
// the same time as the one before, every 50th brings an event and an alarm.
func (r *rig) publish(session string, n, m uint64) {
	r.t.Helper()
	ctx := r.t.Context()
	must := func(err error) {
		if err != nil {
			r.t.Fatal(err)
		}
	}
	for ; n < m; n++ {
		for i, l := range []string{"pad-radio", "far radio"} {
			s := testSample(session, l, []string{"Teal", "Rust"}[i], n)
			must(r.bus.PublishFrame(ctx, ingest.Frame{Session: session, Link: l, N: n, Heard: s.Heard, Mono: s.Passed, Passed: s.Passed, Bytes: []byte{1, 2}}))
			if n%10 == 0 {
				must(r.bus.PublishReject(ctx, decode.Rejected{Session: session, Link: l, N: n,
					Reject: decode.Reject{Kind: decode.Corrupt, Reason: decode.ReasonChecksum, Offset: -1}}))
				continue
			}
			must(r.bus.PublishSample(ctx, s))
			if n%50 == 1 {
				must(r.bus.PublishEvent(ctx, flight.Event{Session: session, ID: fmt.Sprintf("%s/%d", s.Rocket, n), Rocket: s.Rocket,
					Kind: flight.Reboot, At: s.At, CalledAt: s.At.Add(time.Second / 8), AltitudeM: ptr(1.5), Note: `said "again"`}))
				must(r.bus.PublishAlarm(ctx, flight.Alarm{Session: session, ID: fmt.Sprintf("%s/reboot/%d", s.Rocket, n), Change: 1, Rocket: s.Rocket,
					Kind: "reboot", Priority: flight.Act, Active: true, RaisedAt: s.At, ChangedAt: s.At, Say: "Reboot", Reason: "It started again."}))
			}
		}
	}
}

func testSample(session, link, rocket string, n uint64) decode.Sample {
	mono := int64(n) * 50_000_000
	at := epoch.Add(time.Duration(mono - mono%250_000_000/50_000_000/4*50_000_000))
	return decode.Sample{
		Session: session, Link: link, N: n, Rocket: rocket, Boot: 1, Seq: int64(n), Clock: int64(n) * 50_000,
		Heard: epoch.Add(time.Duration(mono)), At: at, Passed: mono, RSSI: ptr(-60 - float64(n%7)),
		Values: decode.Channels{
			Names:  []string{"pressure_pa", "temperature_c", "cell_v", "time"},
			Values: []float64{101325 - float64(n)*1.1, 20 + float64(n%100)/7, math.NaN(), float64(n)},
		},
	}
}

// settled waits until the archive and the server have everything published.
func (r *rig) settled(limit time.Duration) {
	r.t.Helper()
	ctx, cancel := context.WithTimeout(r.t.Context(), limit)
	defer cancel()
	if err := r.bus.Flush(ctx); err != nil {
		r.t.Fatal(err)
	}
	if err := r.writer.Drain(ctx, r.bus.LastSeq()); err != nil {
		r.t.Fatal(err)
	}
	if err := r.bus.WaitConsumed(ctx, Durable, r.bus.LastSeq()); err != nil {
		r.t.Fatal(err)
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
	err := r.archive.Samples(ctx, sqlite.Query{Session: session}, func(m *decode.Sample) error {
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
	events, err := r.archive.Events(ctx, sqlite.Query{Session: session})
	if err != nil {
		r.t.Fatal(err)
	}
	alarms, err := r.archive.Alarms(ctx, sqlite.Query{Session: session})
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

func mustJSON(t testing.TB, v any) []byte {
	t.Helper()
	data, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return data
}
