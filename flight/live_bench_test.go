package flight_test

import (
	"math"
	"sync"
	"testing"

	"padlark/flight"
	"padlark/flight/ensemble"
	"padlark/flight/track"
)

// intervals count how often what the board shows with its ± holds the truth.
type intervals struct{ height, speed, predicted, toApogee, top hits }

func (a *intervals) join(b *intervals) {
	for _, p := range [][2]*hits{
		{&a.height, &b.height}, {&a.speed, &b.speed}, {&a.predicted, &b.predicted}, {&a.toApogee, &b.toApogee}, {&a.top, &b.top},
	} {
		p[0].in += p[1].in
		p[0].n += p[1].n
	}
}

// liveIntervals looks at the live picture of n flights five times a second from
// burnout to touchdown, and at the event of the apogee.
func liveIntervals(tb testing.TB, spec ensemble.Spec, n int) intervals {
	tb.Helper()
	var mu sync.Mutex
	var all intervals
	eachFlight(tb, spec, 21+benchSeed(tb), n, func(_ int, f *ensemble.Flight) {
		own := watchFlight(f)
		mu.Lock()
		defer mu.Unlock()
		all.join(&own)
	})
	return all
}

func watchFlight(f *ensemble.Flight) intervals {
	var own intervals
	const every = 0.2 // s
	t := track.New(track.Config{Session: "bench", Rocket: f.Rocket, Site: f.Site})
	tr := &f.Truth
	next := tr.BurnoutS
	for i := range f.Samples {
		for _, e := range t.Sample(&f.Samples[i]) {
			if e.Kind == flight.Apogee {
				own.top.add(*e.AltitudeM-tr.ApogeeM, *e.AltitudeSD)
			}
		}
		at := f.S(f.Samples[i].At)
		if at < next || at > tr.TouchdownS {
			continue
		}
		next = at + every
		look(&own, t.State(), tr, at)
	}
	return own
}

// look compares one picture with the truth.
func look(own *intervals, s *flight.State, tr *ensemble.Truth, at float64) {
	if s.Phase != flight.Boost && s.Phase != flight.Coast && s.Phase != flight.Descent {
		return
	}
	if s.AltitudeM != nil {
		own.height.add(*s.AltitudeM-tr.HeightM(at), *s.AltitudeSD)
	}
	if tr.SpeedMps(at) > 0 || math.IsNaN(tr.ReleaseS) || at < tr.ReleaseS {
		own.speed.add(*s.SpeedMps-tr.SpeedMps(at), *s.SpeedSD)
	}
	// What opens before the top makes another top than was predicted.
	if s.PredictedM != nil && at < tr.ApogeeS && !(tr.ReleaseS < tr.ApogeeS) {
		own.predicted.add(*s.PredictedM-tr.ApogeeM, *s.PredictedSD)
		own.toApogee.add(*s.ToApogeeS-(tr.ApogeeS-at), *s.ToApogeeSD)
	}
}

// board reports how honest the live picture is.
func board(b *testing.B, scale float64) {
	for _, c := range []struct {
		name string
		spec ensemble.Spec
	}{{"", ensemble.Nominal50()}, {"wide_", ensemble.Wide()}, {"rough_", ensemble.Rough()}} {
		l := liveIntervals(b, c.spec, max(1, int(150*scale)))
		b.ReportMetric(l.height.share(), c.name+"live_coverage_height")
		b.ReportMetric(l.speed.share(), c.name+"live_coverage_climb_speed")
		b.ReportMetric(l.predicted.share(), c.name+"live_coverage_predicted")
		b.ReportMetric(l.toApogee.share(), c.name+"live_coverage_to_apogee")
		b.ReportMetric(l.top.share(), c.name+"live_coverage_apogee")
	}
}

// TestBoardIsHonest: in flights drawn at their worst the intervals that the board
// shows hold the truth nine times in ten at the least.
func TestBoardIsHonest(t *testing.T) {
	n := liveIntervals(t, ensemble.Wide(), 30)
	for _, c := range []struct {
		name string
		of   hits
	}{{"height", n.height}, {"speed", n.speed}, {"predicted apogee", n.predicted}, {"time to apogee", n.toApogee}, {"apogee", n.top}} {
		if c.of.n < 25 || c.of.share() < 0.87 {
			t.Errorf("%s: %.3f of %.0f intervals hold the truth, want 0.9", c.name, c.of.share(), c.of.n)
		}
	}
}
