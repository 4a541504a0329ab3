package results

import (
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/storage"
	"padlark/storage/sqlite"
	"padlark/watch"
)

// falling is the height (m) of a rocket thrown up at 36 m/s after 5 s on the pad,
// without drag.
func falling(s float64) float64 {
	return max(0, 36*(s-5)-9.80665/2*(s-5)*(s-5))
}

// heardUntil makes an archive with a session that runs, whose one rocket is on
// its way down and was last heard at a moment.
func heardUntil(t *testing.T, last time.Time) (*sqlite.Archive, string) {
	t.Helper()
	a, id, _ := heardAt(t, last, 11*20, flight.Site{}) // 6 s in the air: over the top, 39 m above the ground
	return a, id
}

// heardAt is heardUntil with so many readings, at a site, whose own receiver is heard
// each second if it has one; and with what the engine knows at the end.
func heardAt(t *testing.T, last time.Time, n int, site flight.Site) (*sqlite.Archive, string, flight.State) {
	t.Helper()
	a, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), sqlite.FileName), sqlite.Options{NoSync: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := a.Close(); err != nil {
			t.Error(err)
		}
	})
	const hz = 20
	epoch := last.Add(-time.Duration(n) * time.Second / hz)
	rockets := []flight.Rocket{{Name: "Teal"}}
	s := storage.Session{ID: "now", Station: "north-field", Epoch: epoch, Rockets: rockets, Site: site, Links: []string{"radio"}}
	if err := a.StartSession(t.Context(), s); err != nil {
		t.Fatal(err)
	}
	e, err := watch.NewEngine(watch.Config{Session: s.ID, Epoch: epoch, Rockets: rockets, Site: site})
	if err != nil {
		t.Fatal(err)
	}
	var all []storage.Entry
	put := func(v any) { all = append(all, storage.NewEntry(uint64(len(all)+1), v)) }
	for i := range n + 1 {
		at := epoch.Add(time.Duration(i) * time.Second / hz)
		pa := 101325 * math.Pow(1-2.25577e-5*falling(float64(i)/hz), 5.25588)
		m := decode.Sample{Session: s.ID, Link: "radio", N: uint64(i + 1), Rocket: "Teal", Boot: 1, Seq: int64(i), Clock: int64(i) * 1e6 / hz,
			At: at, Heard: at, Passed: at.Sub(epoch).Nanoseconds() + 1,
			Values: decode.Channels{Names: []string{decode.PressurePa}, Values: []float64{math.Round(pa + 2*math.Sin(float64(i)*1.7))}}}
		put(&m)
		for _, ev := range e.Sample(&m).Events {
			put(&ev)
		}
		if site.Receiver != "" && i%hz == 0 {
			own := m
			own.Link, own.Rocket, own.Passed, own.Seq, own.N = site.Receiver, flight.ReceiverName, m.Passed+1, -1, uint64(i/hz+1)
			own.Values = decode.Channels{Names: []string{decode.LatitudeDeg, decode.LongitudeDeg}, Values: []float64{52 + 1e-6*float64(i%3), 5}}
			put(&own)
			e.Sample(&own)
		}
	}
	if err := a.Write(t.Context(), all); err != nil {
		t.Fatal(err)
	}
	st, _ := e.State("Teal")
	return a, s.ID, st
}

// Where the station's own receiver is, is the site: a rocket without any that drifts in
// the wind comes down at a place, live and in the result.
func TestSiteOfTheReceiver(t *testing.T) {
	west := 270.0
	for _, receiver := range []string{"", "own"} {
		a, id, live := heardAt(t, time.Now().Add(-time.Minute), 20*20, flight.Site{WindMps: 5, WindFromDeg: &west, Receiver: receiver})
		got, err := New(a).Flights(t.Context(), id)
		if err != nil || len(got) != 1 {
			t.Fatalf("flights %+v, %v", got, err)
		}
		for name, l := range map[string]*flight.Landing{"live": live.Landing, "result": got[0].Landing} {
			switch {
			case l == nil || l.EastM < 5:
				t.Errorf("%s: landing %+v, want one downwind", name, l)
			case receiver == "":
				if l.LatitudeDeg != nil {
					t.Errorf("%s: a place of nothing: %+v", name, l)
				}
			case l.LatitudeDeg == nil || math.Abs(*l.LatitudeDeg-52) > 1e-5 || math.Abs((*l.LongitudeDeg-5)*111320*math.Cos(52*math.Pi/180)-l.EastM) > 0.01*l.EastM:
				// 111.32 km a degree at the equator, of the mean circumference.
				t.Errorf("%s: landing %+v, want %.0f m east of 52 N 5 E", name, l, l.EastM)
			}
		}
		rockets := map[string]bool{}
		for _, f := range got {
			rockets[f.Rocket] = true
		}
		if rockets[flight.ReceiverName] {
			t.Error("the receiver has flown")
		}
	}
}

// A flight that is under way is said to be so, and only as long as it is heard
// and its session runs.
func TestStillInTheAir(t *testing.T) {
	for _, c := range []struct {
		name  string
		ago   time.Duration
		ended bool
		want  string
	}{
		{"heard now", 0, false, "look: still in the air"},
		{"silent for a minute", time.Minute, false, "look: no release was seen before the readings end"},
		{"session ended", 0, true, "look: no release was seen before the readings end"},
	} {
		t.Run(c.name, func(t *testing.T) {
			last := time.Now().Add(-c.ago)
			a, id := heardUntil(t, last)
			if c.ended {
				if err := a.EndSession(t.Context(), id, last); err != nil {
					t.Fatal(err)
				}
			}
			got, err := New(a).Flights(t.Context(), id)
			if err != nil || len(got) != 1 {
				t.Fatalf("flights %+v, %v", got, err)
			}
			if !strings.HasPrefix(got[0].Verdict, c.want) {
				t.Errorf("verdict %q, want %q", got[0].Verdict, c.want)
			}
			if got[0].ApogeeM == nil || math.Abs(*got[0].ApogeeM-36*36/(2*9.80665)) > 2 {
				t.Errorf("apogee %v m, thrown to 66.1 m", got[0].ApogeeM)
			}
		})
	}
}
