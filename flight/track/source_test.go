package track_test

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/ensemble"
	"padlark/flight/track"
)

// receiverWorld is one in which each board has a satellite receiver, whose height is
// renewed five times a second, is 0.25 s late and wanders by 3 m.
func receiverWorld() ensemble.Spec {
	spec := ensemble.Rough()
	hard := *spec.Hard
	hard.UntoldShare, hard.GPSShare = 0, 1
	spec.Hard = &hard
	return spec
}

// fixesOf leaves nothing but the receiver's height in the samples, with the quality
// that an ordinary fix has in GGA (NMEA 0183: 0 none, 1 GPS, 2 differential).
func fixesOf(samples []decode.Sample, quality float64) (out []decode.Sample) {
	for _, s := range samples {
		if z, ok := s.Values.Get(decode.GPSAltitudeM); ok {
			s.Values = decode.Channels{Names: []string{decode.GPSAltitudeM, decode.GPSFix}, Values: []float64{z, quality}}
			out = append(out, s)
		}
	}
	return out
}

// TestReceiverAlone flies boards that send nothing but a receiver's height. Limits:
// three times what was measured over 300 flights (height 3.2 m, time 0.27 s rms).
func TestReceiverAlone(t *testing.T) {
	high := 0
	for i := range uint64(60) {
		f, err := ensemble.Draw(receiverWorld(), 777, i)
		if err != nil {
			t.Fatal(err)
		}
		all := f.Samples
		if f.Samples = fixesOf(all, 0); len(run(&f)) > 0 {
			t.Errorf("flight %d: events of heights without a fix", i)
		}
		f.Samples = fixesOf(all, 1)
		events := run(&f)
		up, top := only(t, events, flight.Liftoff), only(t, events, flight.Apogee)
		if f.Truth.ApogeeM < 70 { // below that a leap of the receiver may look alike
			if up != nil && f.S(up.CalledAt) < f.Truth.LiftoffS {
				t.Errorf("flight %d: a liftoff before it", i)
			}
			continue
		}
		high++
		if up == nil || top == nil {
			t.Errorf("flight %d to %.0f m: liftoff %v, apogee %v", i, f.Truth.ApogeeM, up, top)
			continue
		}
		if d := f.S(top.CalledAt) - f.Truth.ApogeeS; d < -0.1 || d > 3 {
			t.Errorf("flight %d: apogee called %.2f s late", i, d)
		}
		if d := f.S(top.At) - f.Truth.ApogeeS; math.Abs(d) > 3*0.27+0.2 || *top.AtSD < 0.3 {
			t.Errorf("flight %d: apogee off by %.2f ± %.2f s", i, d, *top.AtSD)
		}
		if d := *top.AltitudeM - f.Truth.ApogeeM; math.Abs(d) > 3*max(3.2, *top.AltitudeSD) || *top.AltitudeSD < 4 {
			t.Errorf("flight %d: height off by %.1f ± %.1f m", i, d, *top.AltitudeSD)
		}
	}
	if high < 20 {
		t.Errorf("only %d flights above 70 m: that shows little", high)
	}
}

// TestReceiverLeaps leaves a receiver on the pad that wanders and finds itself some
// 8 m elsewhere every two minutes, at once or within seconds.
func TestReceiverLeaps(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for _, hz := range []float64{1, 5, 10} {
		for _, within := range []float64{0.1, 0.3, 1, 3} {
			tr := track.New(track.Config{Session: "pad"})
			wander, off, goal, keep := 0.0, 0.0, 0.0, math.Exp(-1/hz/10)
			for k := range int(2 * 3600 * hz) {
				wander = keep*wander + 3*math.Sqrt(1-keep*keep)*rng.NormFloat64()
				if rng.Float64() < 1.0/120/hz {
					goal = 8 * rng.NormFloat64()
				}
				off += (goal - off) * min(1, 1/hz/within)
				at := time.Unix(1.7e9, 0).Add(time.Duration(float64(k) / hz * 1e9))
				z := math.Round((100+wander+off)*10) / 10
				s := decode.Sample{Rocket: "Teal", Seq: int64(k), At: at, Heard: at, Values: decode.Channels{Names: []string{decode.GPSAltitudeM}, Values: []float64{z}}}
				for _, e := range tr.Sample(&s) {
					t.Errorf("%.0f Hz, leaps within %.1f s: %s after %.0f s", hz, within, e.Kind, float64(k)/hz)
				}
			}
		}
	}
}

// TestReceiverBesideBarometer: where a barometer is heard a receiver changes no event,
// also where its frames came first and no flight was under way.
func TestReceiverBesideBarometer(t *testing.T) {
	for i := range uint64(6) {
		f, err := ensemble.Draw(receiverWorld(), 779, i)
		if err != nil {
			t.Fatal(err)
		}
		want := f
		want.Samples = append([]decode.Sample(nil), f.Samples...)
		for k := range want.Samples {
			s := &want.Samples[k]
			n := len(s.Values.Names) - 1 // the receiver's height is the last one
			s.Values = decode.Channels{Names: s.Values.Names[:n], Values: s.Values.Values[:n]}
		}
		with, without := run(&f), run(&want)
		if len(without) == 0 || !reflect.DeepEqual(with, without) {
			t.Errorf("flight %d: %v with it, %v without", i, with, without)
		}
		n := 0
		for f.S(f.Samples[n].At) < f.Truth.LiftoffS-5 {
			n++
		}
		f.Samples = append(fixesOf(f.Samples[:n], 1), want.Samples[n:]...)
		events := run(&f)
		top, truly := only(t, events, flight.Apogee), only(t, without, flight.Apogee)
		if top == nil || truly == nil || math.Abs(top.At.Sub(truly.At).Seconds()) > 0.1 || math.Abs(*top.AltitudeM-*truly.AltitudeM) > 2 {
			t.Errorf("flight %d: apogee %v, without the receiver's frames %v", i, top, truly)
		}
	}
}
