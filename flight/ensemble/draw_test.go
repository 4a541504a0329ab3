package ensemble

import "testing"

func TestExplore(t *testing.T) {
	for _, spec := range []Spec{Nominal50(), Slow10(), Wide(), Short()} {
		for i := range uint64(12) {
			f, err := Draw(spec, 1, i)
			if err != nil {
				t.Error(err)
				continue
			}
			tr := f.Truth
			t.Logf("%s %d %s n=%d sent=%d rate %g lift %.2f burn %.3f apo %.2fs %.1fm rel %.2f open %.2f td %.2f v %.1f a %.0f sink %.2f/%.2f mass %.3f chute %.2f", f.Name, i, f.Rocket.Kind, len(f.Samples), f.Sent, f.Setup.RateHz, tr.LiftoffS, tr.BurnoutS-tr.LiftoffS, tr.TimeToApogeeS(), tr.ApogeeM, tr.ReleaseS-tr.ApogeeS, tr.OpenS-tr.ApogeeS, tr.TouchdownS-tr.LiftoffS, tr.MaxSpeedMps, tr.MaxAccel, tr.DescentMps, f.Setup.SinkMps, f.Rocket.MassKg, f.Rocket.ParachuteM)
		}
	}
}

func BenchmarkDraw(b *testing.B) {
	for _, spec := range []Spec{Nominal50(), Slow10(), Wide(), Short()} {
		b.Run(spec.Name, func(b *testing.B) {
			var f Flight
			n := 0
			for i := range b.N {
				if err := DrawInto(&f, spec, 1, uint64(i)); err != nil {
					b.Error(err)
				}
				n += len(f.Samples)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(n), "ns/sample")
			b.ReportMetric(float64(n)/float64(b.N), "samples/flight")
		})
	}
}
