package tune

import (
	"math"
	"math/rand/v2"
	"testing"

	"padlark/flight/atmos"
)

// base is a valid rule that the tests change.
func base() Settings {
	return Settings{
		Family: Drop, DropCm: 150, Samples: 1, ArmCm: 500, ArmSamples: 2,
		PadShift: 8, SlopeQ10: SlopeAt(101325, 15),
	}
}

// fly steps a board through heights in m, n a second, and gives the index of
// the release.
func fly(t *testing.T, s Settings, rate float64, n int, height func(i int) float64) (int, Cause) {
	t.Helper()
	if err := s.Validate(); err != nil {
		t.Fatal(err)
	}
	o := newBoard(s)
	for i := range n {
		p := atmos.At(height(i)).Pressure
		if by := o.Step(uint32(float64(i)*1000/rate), dPa(p)); by != notYet {
			return i, by
		}
	}
	return -1, notYet
}

// The board's height against the standard atmosphere (ISO 2533; computed from
// the published equations by flight/atmos).
func TestHeight(t *testing.T) {
	for _, h := range []float64{-50, 0, 1, 10, 56.09, 110.127, 500, 1000, 1500, 3000} {
		o := newBoard(base())
		o.reading(1013250)
		got := float64(o.height(dPa(atmos.At(h).Pressure))) / 100
		// One unit of pressure is 0.8 cm; the third term of the series, left
		// out, is 0.24 h^3/H^2; below the pad the second is left out, too.
		if tol := 0.02 + 0.3*math.Pow(math.Abs(h), 3)/8434/8434 + 0.0015*math.Abs(h); math.Abs(got-h) > tol+0.5*math.Pow(min(h, 0), 2)/8434 {
			t.Errorf("height %.2f m is %.2f m, tolerance %.2f m", h, got, tol)
		}
	}
}

// dP/dH at sea level in the standard atmosphere is -12.01314 Pa/m (computed
// from the published equations).
func TestSlopeAt(t *testing.T) {
	if got, want := float64(SlopeAt(101325, 15))/1024, 10/12.01314; math.Abs(got-want) > 0.001 {
		t.Errorf("1 dPa is %.4f cm, want %.4f cm", got, want)
	}
}

// The speed of an alpha-beta filter in a parabola goes through zero late by
// T(2 alpha - beta)/(2 beta), with alpha = 1/2^k and beta = 1/2^(2k+1)
// (Kalata, IEEE Trans. AES-20, 1984, 174; from memory, and derived again by
// hand). The two low-passes of the slope delay it by 2 (2^k - 1) readings.
func TestLagOfFilters(t *testing.T) {
	const rate, T = 100.0, 0.01
	for _, c := range []struct {
		family Family
		shift  uint8
		want   float64 // s
	}{
		{AlphaBeta, 1, T * (2*0.5 - 0.125) / 0.25},
		{AlphaBeta, 2, T * (2*0.25 - 1.0/32) / (2.0 / 32)},
		{AlphaBeta, 3, T * (2.0/8 - 1.0/128) / (2.0 / 128)},
		{AlphaBeta, 4, T * (2.0/16 - 1.0/512) / (2.0 / 512)},
		{Slope, 1, T * 2},
		{Slope, 2, T * 6},
		{Slope, 3, T * 14},
		{Slope, 4, T * 30},
	} {
		s := base()
		s.Family, s.DropCm, s.Shift = c.family, 0, c.shift
		// Up from rest in a long smooth arc: 2 s of pad, apogee 4 s later.
		arc := func(i int) float64 {
			d := float64(i)*T - 6
			return max(0, 78.45-9.80665/2*d*d)
		}
		i, by := fly(t, s, rate, 2000, arc)
		lag := float64(i)*T - 6
		// The condition is met at the reading after, and where the speed is
		// within a unit of rounding of zero.
		if by != ByRule || lag < c.want-3*T || lag > c.want+3*T {
			t.Errorf("%v: released by %d, %.3f s after apogee, want %.3f s", s, by, lag, c.want)
		}
	}
}

// A drop of d below the highest takes sqrt(2 d / g) from apogee.
func TestLagOfDrop(t *testing.T) {
	s := base()
	arc := func(i int) float64 {
		d := float64(i)*0.01 - 6
		return max(0, 78.45-9.80665/2*d*d)
	}
	i, _ := fly(t, s, 100, 2000, arc)
	if lag, want := float64(i)*0.01-6, math.Sqrt(2*1.5/9.80665); math.Abs(lag-want) > 0.02 {
		t.Errorf("lag %.3f s, want %.3f s", lag, want)
	}
	s.Samples = 5
	if k, _ := fly(t, s, 100, 2000, arc); k != i+4 {
		t.Errorf("with 5 readings in a row it releases at %d, want %d", k, i+4)
	}
	s.Samples, s.Median = 1, true
	if k, _ := fly(t, s, 100, 2000, arc); k != i+1 {
		t.Errorf("with the median it releases at %d, want %d", k, i+1)
	}
}

func TestWhenItReleases(t *testing.T) {
	arc := func(i int) float64 { // apogee 60 m at reading 200, ground at 350
		d := float64(i-200) / 50
		return max(0, 60-4.9*d*d)
	}
	spike := func(at int, by float64) func(int) float64 {
		return func(i int) float64 {
			if i == at {
				return arc(i) + by
			}
			return arc(i)
		}
	}
	for _, c := range []struct {
		name   string
		change func(*Settings)
		height func(int) float64
		lo, hi int
		by     Cause
	}{
		{"plain", func(*Settings) {}, arc, 225, 230, ByRule},
		{"spike while climbing", func(*Settings) {}, spike(150, 30), 151, 151, ByRule},
		{"spike and median", func(s *Settings) { s.Median = true }, spike(150, 30), 226, 231, ByRule},
		{"spike in the lock-out", func(s *Settings) { s.LockoutMs = 2000 }, spike(90, 30), 225, 230, ByRule},
		{"never armed", func(s *Settings) { s.ArmCm = 7000 }, arc, -1, -1, notYet},
		{"backup", func(s *Settings) { s.DropCm, s.BackupMs = 50000, 4000 }, arc, 200, 265, byBackup},
		{"lock-out past apogee", func(s *Settings) { s.LockoutMs = 4000 }, arc, 236, 250, ByRule},
	} {
		s := base()
		c.change(&s)
		i, by := fly(t, s, 50, 600, c.height)
		if by != c.by || i < c.lo || i > c.hi {
			t.Errorf("%s: released at %d by %d, want %d to %d by %d", c.name, i, by, c.lo, c.hi, c.by)
		}
	}
}

// The pad's pressure falls by 5 hPa in three hours as the weather changes: that
// is 40 m, and the rule must not be armed by it.
func TestFollowsThePad(t *testing.T) {
	o := newBoard(base())
	for i := range 3 * 3600 * 20 {
		p := 1013250 - int32(5000*i/(3*3600*20))
		o.Step(uint32(i*50), p)
	}
	if _, ok := o.Armed(); ok {
		t.Error("armed on the pad")
	}
}

// The ms clock wraps at 2^32 in mid-flight.
func TestClockWraps(t *testing.T) {
	s := base()
	s.LockoutMs, s.BackupMs = 1000, 3000
	run := func(from uint32) (int, Cause) {
		o := newBoard(s)
		for i := range 600 {
			h := 0.0
			if i > 100 {
				h = float64(i-100) * 0.2 // climbs for ever: only the backup
			}
			if by := o.Step(from+uint32(i*20), dPa(atmos.At(h).Pressure)); by != notYet {
				return i, by
			}
		}
		return -1, notYet
	}
	i, by := run(0)
	if j, by2 := run(math.MaxUint32 - 3500); i != j || by != by2 || by != byBackup {
		t.Errorf("released at %d by %d, and at %d by %d when the clock wraps", i, by, j, by2)
	}
}

// shadow is Board's filter and height in 64 bits, to show that 32 are enough.
type shadow struct {
	s         Settings
	x, v, pad int64
	most      int64
}

func (w *shadow) see(v int64) int64 {
	if v < 0 {
		w.most = max(w.most, -v)
	}
	w.most = max(w.most, v)
	return v
}

func (w *shadow) round(v int64, k uint8) int64 {
	if k == 0 {
		return v
	}
	return w.see(v+1<<(k-1)) >> k
}

func (w *shadow) height(p int64) int64 {
	x := w.see(w.see((w.pad+8)>>4-p)*int64(w.s.SlopeQ10)) >> 10
	x = min(max(x, -100000), 600000)
	if x > 0 {
		q := x >> 4
		x += w.see(q*q) >> 13
	}
	return x
}

func (w *shadow) filter(h int64) {
	k := w.s.Shift
	h = w.see(h * 256)
	switch w.s.Family {
	case Drop:
		w.x = w.see(w.x + w.round(w.see(h-w.x), k))
	case Slope:
		w.x = w.see(w.x + w.round(w.see(h-w.x), k))
		w.v = w.see(w.v + w.round(w.see(h-w.x-w.v), k))
	case AlphaBeta:
		w.x = w.see(w.x + w.v)
		r := w.see(h - w.x)
		w.x = w.see(w.x + w.round(r, k))
		w.v = w.see(w.v + w.round(r, 2*k+1))
	}
}

// Pressures that jump between the ends of what a reading may be, in the ways
// that drive a filter furthest, stay within 32 bits.
func TestBounds(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	waves := []func(i int) bool{
		func(int) bool { return rng.Uint64()&1 == 0 },
		func(int) bool { return rng.Uint64()%40 == 0 },
		func(i int) bool { return i&1 == 0 },
		func(i int) bool { return i/3&1 == 0 },
		func(i int) bool { return i/10&1 == 0 },
		func(i int) bool { return i/40&1 == 0 },
	}
	for _, family := range Families() {
		for shift := uint8(0); shift <= maxShift; shift++ {
			s := base()
			s.Family, s.Shift, s.SlopeQ10 = family, shift, maxSlopeQ10
			if family != Drop {
				s.DropCm = 0
			}
			if s.Validate() != nil {
				continue
			}
			for _, wave := range waves {
				w := shadow{s: s, pad: 1200000 * 16}
				o := newBoard(s)
				o.begun, o.a, o.b, o.pad = true, 1200000, 1200000, 1200000*16
				for i := range 4000 {
					p := int32(minDPa)
					if wave(i) {
						p = maxDPa
					}
					w.filter(w.height(int64(p)))
					o.filter(o.height(o.reading(p)))
					if int64(o.x) != w.x || int64(o.v) != w.v {
						t.Fatalf("%v: %d, %d in 32 bits and %d, %d in 64", s, o.x, o.v, w.x, w.v)
					}
				}
				if w.most > math.MaxInt32 {
					t.Errorf("%v: reached %d", s, w.most)
				}
			}
		}
	}
}

func TestValidate(t *testing.T) {
	if err := base().Validate(); err != nil {
		t.Error(err)
	}
	for name, change := range map[string]func(*Settings){
		"family":                 func(s *Settings) { s.Family = 4 },
		"no drop":                func(s *Settings) { s.DropCm = 0 },
		"drop of another family": func(s *Settings) { s.Family, s.Shift = Slope, 2 },
		"no readings":            func(s *Settings) { s.Samples = 0 },
		"shift":                  func(s *Settings) { s.Shift = 6 },
		"no filter":              func(s *Settings) { s.Family, s.DropCm = AlphaBeta, 0 },
		"arming":                 func(s *Settings) { s.ArmCm = -1 },
		"slope":                  func(s *Settings) { s.SlopeQ10 = 0 },
		"backup in the lock-out": func(s *Settings) { s.LockoutMs, s.BackupMs = 3000, 2000 },
	} {
		s := base()
		change(&s)
		if s.Validate() == nil {
			t.Errorf("%s: %+v is taken", name, s)
		}
	}
}
