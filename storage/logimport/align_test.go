package logimport

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"padlark/ingest"
)

// shape is a flight that closed forms describe: thrown up from the pad at speed
// v, at the apogee a parachute opens and it sinks at a steady rate.
func shape(t, v, sink float64) float64 {
	const g = 9.80665
	up := v / g
	top := v * v / 2 / g
	switch {
	case t < 0:
		return 0
	case t < up:
		return v*t - g*t*t/2
	}
	return max(0, top-sink*(t-up))
}

// points samples a flight that lifts off at second lift of the series.
func points(start time.Time, lift, v, sink, hz, seconds float64, noise func(i int) float64) []Point {
	var out []Point
	for i := range int(seconds * hz) {
		t := float64(i) / hz
		out = append(out, Point{start.Add(time.Duration(t * 1e9)), shape(t-lift, v, sink) + noise(i)})
	}
	return out
}

func TestAlignFindsTheOffset(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(20, 60).Draw(t, "speed")
		sink := rapid.Float64Range(3, 8).Draw(t, "sink")
		early := rapid.Float64Range(2, 9).Draw(t, "lift in the log")
		shift := rapid.Float64Range(-1000, 1000).Draw(t, "offset")
		seconds := 12 + v/9.8 + v*v/19.6/sink
		ripple := func(i int) float64 { return 0.3 * math.Sin(float64(i)*2.7) }
		t0 := time.Unix(1_000_000, 0)
		log := points(t0, early, v, sink, 50, seconds, ripple)
		radio := points(t0.Add(time.Duration((shift+early-5)*1e9)), 5, v, sink, 8, seconds, ripple)
		a, ok := Align(log, radio)
		if !ok || !a.Good(v*v/19.6) {
			t.Fatalf("ok %v, %+v", ok, a)
		}
		if e := math.Abs(a.OffsetS - shift); e > 0.05 {
			t.Fatalf("offset %.4f s, truth %.4f s", a.OffsetS, shift)
		}
	})
}

func TestAlignRefusesAnotherFlight(t *testing.T) {
	none := func(int) float64 { return 0 }
	t0 := time.Unix(0, 0)
	a, ok := Align(points(t0, 5, 50, 4, 50, 50, none), points(t0, 5, 25, 9, 10, 20, none))
	if ok && a.Good(127) {
		t.Errorf("a flight to 127 m lies over one to 32 m: %+v", a)
	}
	if _, ok := Align(nil, nil); ok {
		t.Error("nothing lies over nothing")
	}
}

// TestOverlayHasNoDuplicates: the denser one is kept whole, and the other fills
// its holes; the same by the rule written down a second time, straightforwardly.
func TestOverlayHasNoDuplicates(t *testing.T) {
	log := []int{0, 20, 40, 60, 80, 400, 420, 440}
	dense := make([]int, 0, 100)
	for ms := range 100 {
		dense = append(dense, 7*ms)
	}
	cases := map[string]struct {
		log, radio []int
		bad        int
		logWins    bool
	}{
		"the radio fills the log's holes":   {log, []int{5, 45, 90, 200, 300, 395, 430, 600}, 0, true},
		"before the log, and at one time":   {log, []int{-500, -480, 0, 20, 440, 470}, 0, true},
		"lines out of order":                {[]int{0, 40, 20, 60, 80, 400, 440, 420}, []int{5, 200}, 0, true},
		"the log fills the radio's holes":   {[]int{0, 100, 210, 300, 690, 800, 900}, dense, 0, false},
		"most of the log is bad":            {log, []int{0, 20, 40, 60, 200, 440}, 1000, false},
		"nothing was heard while it logged": {log, []int{5000, 5001, 5002}, 0, true},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			var text strings.Builder
			for _, ms := range c.log {
				fmt.Fprintf(&text, "%d,101325,3.9\n", ms)
			}
			l, err := Read(t.Context(), source(t, []byte(text.String())), plain())
			if err != nil {
				t.Fatal(err)
			}
			l.Bad += c.bad
			var radio []ingest.Frame
			for _, ms := range c.radio {
				radio = append(radio, ingest.Frame{Link: "radio", Heard: time.UnixMilli(int64(ms))})
			}
			o, err := l.Lay(t.Context(), time.UnixMilli(0), radio)
			if err != nil {
				t.Fatal(err)
			}
			if o.LogWins != c.logWins {
				t.Errorf("the log wins: %v", o.LogWins)
			}
			var got []string
			err = o.Each(t.Context(), func(f *ingest.Frame) error {
				got = append(got, fmt.Sprint(f.Link, " ", f.Heard.UnixMilli()))
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			want := filled("log-x", "radio", c.log, c.radio)
			if !c.logWins {
				want = filled("radio", "log-x", c.radio, c.log)
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}

// filled is all of win, and of lose what is further from each of win than a
// usual step, where win has a hole of three.
func filled(winner, loser string, win, lose []int) (out []string) {
	var steps []int
	for i := range win[1:] {
		steps = append(steps, win[i+1]-win[i])
	}
	slices.Sort(steps)
	step := steps[len(steps)/2]
	at := map[string]int{}
	for _, w := range win {
		at[fmt.Sprint(winner, " ", w)] = w
	}
	for _, v := range lose {
		before, after := 1<<40, 1<<40
		for _, w := range win {
			if w <= v {
				before = min(before, v-w)
			}
			if w >= v {
				after = min(after, w-v)
			}
		}
		if min(before, after) > step && before+after > 3*step {
			at[fmt.Sprint(loser, " ", v)] = v
		}
	}
	return slices.SortedFunc(maps.Keys(at), func(a, b string) int { return at[a] - at[b] })
}
