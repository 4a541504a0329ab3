package logimport

import (
	"math"
	"testing"
	"time"

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

func TestFillHasNoDuplicates(t *testing.T) {
	at := func(link string, ms ...int) (out []ingest.Frame) {
		for _, v := range ms {
			out = append(out, ingest.Frame{Link: link, Heard: time.UnixMilli(int64(v))})
		}
		return out
	}
	log := at("log", 0, 20, 40, 60, 80, 400, 420, 440)
	radio := at("radio", 5, 45, 90, 200, 300, 395, 430, 600)
	var got []int64
	for _, f := range Fill(log, radio) {
		if f.Link == "radio" {
			got = append(got, f.Heard.UnixMilli())
		}
	}
	if len(got) != 3 || got[0] != 200 || got[1] != 300 || got[2] != 600 {
		t.Errorf("the radio fills in at %v ms, want 200, 300 (the hole) and 600 (after the end)", got)
	}
	if !Better(Series{Frames: log}, Series{Frames: radio}) || Better(Series{Frames: log, Bad: 1000}, Series{Frames: radio}) {
		t.Error("the denser one is better unless most of it is bad")
	}
}
