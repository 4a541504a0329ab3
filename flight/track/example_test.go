package track_test

import (
	"fmt"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/atmos"
	"padlark/flight/track"
)

// A rocket thrown straight up at 30 m/s from a pad at sea level, without drag, that
// comes down at 5 m/s below a parachute: the apogee that its pressure shows, beside
// the time that it has, v/g.
func ExampleTracker() {
	t0 := time.Date(2026, 5, 2, 10, 0, 0, 0, time.UTC)
	const up, sink, still = 30.0, 5.0, 12.0
	top, highest := up/atmos.StandardGravity, up*up/(2*atmos.StandardGravity)
	height := func(s float64) float64 {
		switch {
		case s < 0:
			return 0
		case s < top:
			return up*s - atmos.StandardGravity/2*s*s
		}
		return max(0, highest-sink*(s-top))
	}
	pressure := func(h float64) decode.Channels {
		return decode.Channels{Names: []string{decode.PressurePa}, Values: []float64{atmos.At(h).Pressure}}
	}
	tracker := track.New(track.Config{Rocket: flight.Rocket{Name: "Wren"}})
	for i := range 50 * 40 {
		s := float64(i)/50 - still
		at := t0.Add(time.Duration(s * float64(time.Second)))
		sample := decode.Sample{Rocket: "Wren", Seq: int64(i), Clock: -1, At: at, Heard: at, Passed: at.Sub(t0.Add(-still * time.Second)).Nanoseconds(), Values: pressure(height(s))}
		for _, e := range append(tracker.Tick(at), tracker.Sample(&sample)...) {
			if e.Kind == flight.Apogee {
				fmt.Printf("%s at %.1f s, by v/g at %.1f s\n", e.Kind, e.At.Sub(t0).Seconds(), top)
			}
		}
	}
	// Output: apogee at 3.1 s, by v/g at 3.1 s
}
