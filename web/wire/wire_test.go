package wire

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/results"
	"padlark/storage/sqlite"
	"padlark/watch"
	"padlark/web"
)

var (
	epoch = time.Date(2025, 6, 14, 9, 30, 0, 0, time.UTC)
	shift = 3 * time.Hour // how far the recorded times are off
)

const session = "20250614-093000-wire"

// height is an invented flight: liftoff at 30 s, top 60 m, down at 5 m/s.
func height(t float64) float64 {
	const g, v, push = 9.81, 34.3, 0.4
	switch t -= 30; {
	case t <= 0:
		return 0
	case t < push:
		return v / push * t * t / 2
	case t < push+v/g+0.4:
		d := t - push
		return v*push/2 + v*d - g*d*d/2
	default:
		return max(0, v*push/2+v*v/2/g-0.8-5*(t-push-v/g-0.4))
	}
}

// stored is an archive with one flight of Teal and Rust waiting beside it, fed
// as the bus would. Rust skips a frame now and then, and all is silent for 8 s.
func stored(t *testing.T) *sqlite.Archive {
	t.Helper()
	a, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "padlark.db"), sqlite.Options{NoSync: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := a.Close(); err != nil {
			t.Error(err)
		}
	})
	rockets := []flight.Rocket{{Name: "Teal", MassKg: 0.145, DiameterM: 0.09, Cd: 0.45, ParachuteM: 0.6}, {Name: "Rust"}}
	err = a.StartSession(t.Context(), storage.Session{ID: session, Station: "north-field", Epoch: epoch, Rockets: rockets, Links: []string{"pad-radio"}})
	if err != nil {
		t.Fatal(err)
	}
	e, err := watch.NewEngine(watch.Config{Session: session, Epoch: epoch, Rockets: rockets})
	if err != nil {
		t.Fatal(err)
	}
	var all []storage.Entry
	put := func(v any) { all = append(all, storage.NewEntry(uint64(len(all)+1), v)) }
	n := uint64(0)
	for i := range 70 * 20 {
		ts := float64(i) / 20
		if ts > 5 && ts < 13 {
			continue
		}
		for k, r := range rockets {
			if k == 1 && i%50 == 49 {
				continue
			}
			n++
			h := height(ts) * float64(1-k)
			p := 100800*math.Pow(1-2.25577e-5*h, 5.25588) + 3*math.Sin(float64(i)*1.7+float64(k))
			at := epoch.Add(time.Duration(ts * 1e9))
			s := decode.Sample{Session: session, Link: "pad-radio", N: n, Rocket: r.Name, Boot: 1, Seq: int64(i), Clock: int64(ts * 1e6),
				At: at, Heard: at.Add(10 * time.Millisecond), Passed: at.Sub(epoch).Nanoseconds() + 10_000_000 + int64(k),
				Values: decode.Channels{Names: []string{decode.PressurePa}, Values: []float64{math.Round(p)}}}
			put(&ingest.Frame{Session: session, Link: "pad-radio", N: n, Heard: s.Heard, Mono: s.Heard.Sub(epoch).Nanoseconds(), Passed: s.Passed, Bytes: []byte(fmt.Sprint(r.Name, i))})
			put(&s)
			out := e.Sample(&s)
			for _, ev := range out.Events {
				put(&ev)
			}
			for _, al := range out.Alarms {
				put(&al)
			}
		}
	}
	if err := a.Write(t.Context(), all); err != nil {
		t.Fatal(err)
	}
	if err := a.EndSession(t.Context(), session, epoch.Add(71*time.Second)); err != nil {
		t.Fatal(err)
	}
	if err := a.SetShift(t.Context(), session, shift, "a test"); err != nil {
		t.Fatal(err)
	}
	return a
}

func archiveOf(a *sqlite.Archive) *Archive { return NewArchive(a, results.New(a), nil) }

func TestSessions(t *testing.T) {
	a := archiveOf(stored(t))
	got, err := a.Sessions(t.Context())
	if err != nil || len(got) != 1 || got[0].Counted || got[0].Last == nil {
		t.Fatalf("before the count: %+v, %v", got, err)
	}
	if err := a.Count(t.Context()); err != nil {
		t.Fatal(err)
	}
	if got, err = a.Sessions(t.Context()); err != nil || !got[0].Counted {
		t.Fatalf("after the count: %+v, %v", got, err)
	}
	s := got[0]
	late := epoch.Add(shift)
	if !s.Epoch.Equal(late) || s.Live || s.FixedBy != "a test" || !s.Ended.Equal(late.Add(71*time.Second)) {
		t.Errorf("session %+v", s)
	}
	// 70 s at 20 Hz, minus the silence from 5.05 s to 12.95 s: 1241 of each
	// rocket, and of Rust every 50th (i = 49, 99 and so on) outside it less:
	// 28 in all, 3 of them (149, 199, 249) in the silence.
	if want := uint64(1241 + 1241 - 25); s.Frames != want {
		t.Errorf("%d frames, want %d", s.Frames, want)
	}
	// Both lost the 159 numbers of the silence; Rust 25 more, but its very last
	// (1399) cannot be missed by anybody.
	if want := uint64(2*159 + 24); s.Lost != want {
		t.Errorf("%d lost, want %d", s.Lost, want)
	}
	if len(s.Gaps) != 1 || s.Gaps[0].To.Sub(s.Gaps[0].From).Round(time.Second) != 8*time.Second {
		t.Errorf("gaps %v", s.Gaps)
	}
	if d := cmp.Diff([]string{"Teal", "Rust"}, s.Rockets); d != "" {
		t.Error(d)
	}
}

func TestSamplesInOrder(t *testing.T) {
	a := archiveOf(stored(t))
	last := map[string]int64{}
	n, both := 0, map[string]int{}
	q := storage.Query{Session: session, FromPassed: int64(20 * time.Second), ToPassed: int64(30 * time.Second)}
	err := a.Samples(t.Context(), q, func(s *decode.Sample) error {
		if s.Passed < max(last[s.Rocket], q.FromPassed) || s.Passed >= q.ToPassed {
			t.Errorf("passed %d after %d", s.Passed, last[s.Rocket])
		}
		last[s.Rocket] = s.Passed
		n++
		both[s.Rocket]++
		return nil
	})
	if err != nil || n != 200+196 || both["Teal"] != 200 {
		t.Errorf("%d samples %v, %v", n, both, err)
	}
	late := epoch.Add(shift)
	n = 0
	err = a.Frames(t.Context(), storage.Query{Session: session, From: late.Add(20 * time.Second), To: late.Add(21 * time.Second)}, func(f ingest.Frame) error {
		n++
		return nil
	})
	if err != nil || n != 40 {
		t.Errorf("%d frames in one second, %v", n, err)
	}
	if err := a.Samples(t.Context(), storage.Query{Session: "none"}, nil); !errors.Is(err, storage.ErrNoSession) {
		t.Errorf("no such session: %v", err)
	}
}

func TestNotes(t *testing.T) {
	a := archiveOf(stored(t))
	at := epoch.Add(shift + time.Minute)
	n, err := a.AddNote(t.Context(), storage.Note{Session: session, Rocket: "Teal", Flight: 1, At: at, Text: "0.6 l"})
	if err != nil || n.ID == 0 || !n.At.Equal(at) {
		t.Errorf("note %+v, %v", n, err)
	}
	if got, err := a.Notes(t.Context(), session); err != nil || len(got) != 1 || got[0].Text != "0.6 l" {
		t.Errorf("notes %+v, %v", got, err)
	}
}

// quiet is a bus on which nothing happens.
type quiet struct{}

func (quiet) Watch(func(web.Message)) (func(), error) { return func() {}, nil }

// server is the pages over a real archive.
func server(t *testing.T, a *sqlite.Archive) string {
	t.Helper()
	archive := archiveOf(a)
	s, err := web.New(web.Options{Listen: "127.0.0.1:0", Station: "north-field", Archive: archive, Notes: archive, Live: quiet{},
		Flights: Flights{Results: results.New(a), Archive: a},
		NewMachine: func(_ context.Context, s web.Session) (*watch.Engine, error) {
			return watch.NewEngine(watch.Config{Session: s.ID, Epoch: s.Epoch})
		}})
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(s.Handler())
	t.Cleanup(srv.Close)
	return srv.URL
}

func get(t *testing.T, address string, into any) {
	t.Helper()
	res, err := http.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	if res.StatusCode != 200 {
		t.Fatalf("%s: %s", address, res.Status)
	}
	if err := json.NewDecoder(res.Body).Decode(into); err != nil {
		t.Fatalf("%s: %v", address, err)
	}
}

// TestFlightOverArchive: the pages' answers are the archive's numbers.
func TestFlightOverArchive(t *testing.T) {
	a := stored(t)
	base := server(t, a)
	var list []struct {
		ID      string
		ApogeeM *float64 `json:"apogee_m"`
	}
	get(t, base+"/api/v1/flights", &list)
	if len(list) != 1 || list[0].ApogeeM == nil {
		t.Fatalf("flights %+v", list)
	}
	want, err := results.New(a).Flights(t.Context(), session)
	if err != nil || *want[0].ApogeeM != *list[0].ApogeeM {
		t.Errorf("apogee %g m, the archive's is %v (%v)", *list[0].ApogeeM, want, err)
	}
	if math.Abs(*list[0].ApogeeM-66) > 3 {
		t.Errorf("apogee %g m, invented 66 m", *list[0].ApogeeM)
	}
	var one struct {
		Events           []flight.Event
		Course, Expected *struct {
			T []float64 `json:"t_s"`
			H []float64 `json:"height_m"`
		}
	}
	get(t, base+"/api/v1/flights/"+list[0].ID, &one)
	if one.Course == nil || one.Expected == nil || len(one.Events) < 4 {
		t.Fatalf("course %v, expected %v, %d events", one.Course != nil, one.Expected != nil, len(one.Events))
	}
	top := 0.0
	for _, h := range one.Expected.H {
		top = max(top, h)
	}
	// With drag the model stays below the invented flight without air.
	if top < 40 || top > 70 {
		t.Errorf("the model expects %g m", top)
	}
}
