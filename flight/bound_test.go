package flight_test

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

	"padlark/flight/ensemble"
)

// Parameters of a flight, in the order of the Fisher information.
const (
	pTop    = iota // m, height of the apogee
	pTime          // s, when it is
	pBody          // logarithm of the body's drag per mass
	pCanopy        // logarithm of the canopy's
	pFill          // logarithm of the distance in m that it takes to fill
	pAcross        // m/s through the air, across, at the apogee
	pPort          // m per (m/s)², by which the vent reads high
	params
)

// priorSD are what is known of the parameters before the flight, as flight/smooth
// takes it: nothing of the apogee; drags by what builders write down; the filling
// within a factor of two; across in parts of the greatest speed; the vent.
var priorSD = [params]float64{math.Inf(1), math.Inf(1), 0.4, 0.5, 0.7, 0.12, 0.0008}

// bayesBound is the Bayesian Cramér-Rao (van Trees) bound of apogee time in s and
// height in m: the inverse of the Fisher information of all readings from burnout to
// touchdown plus that of the priors (van Trees, Detection, Estimation and Modulation
// Theory I, 1968, section 2.4; from memory), for
//
//	h'' = -g - D h' w, w the speed through the air, D that of the body, and from the
//	told release on that of the canopy as well, growing with the square of what it
//	has flown until it is full
//
// in the noise that was drawn, known to the bound: white, gusts, a drift of the sensor.
// The height is that above the pad, whose level only its own readings tell. No estimator
// with these priors has a smaller mean square error. ok is false without enough readings.
func bayesBound(f *ensemble.Flight) (timeS, heightM float64, ok bool) {
	u, r := &f.Truth, &f.Rocket
	if r.MassKg == 0 || f.Site.TemperatureC == nil || math.IsNaN(u.OpenS) {
		return 0, 0, false
	}
	rho := padPa(f) / (287.05287 * (*f.Site.TemperatureC + 273.15))
	disc := func(d, cd float64) float64 { return rho * cd * math.Pi / 4 * d * d / (2 * r.MassKg) }
	theta := [params]float64{u.ApogeeM, u.ApogeeS, math.Log(disc(r.DiameterM, r.Cd)),
		math.Log(disc(r.ParachuteM, r.ParachuteCd)), math.Log(8 * r.ParachuteM / 2), 4, 0}
	prior := priorSD
	prior[pAcross] *= u.MaxSpeedMps
	pad, times, white := boundReadings(f)
	if len(times) < pad+20 || pad == 0 {
		return 0, 0, false
	}
	n := len(times)
	slope := mat.NewDense(n, params, nil)
	for k, d := range [params]float64{0.1, 0.002, 0.02, 0.02, 0.05, 0.2, 1e-4} {
		up, down := theta, theta
		up[k] += d
		down[k] -= d
		a, b := heights(up, times[pad:], u.ReleaseS), heights(down, times[pad:], u.ReleaseS)
		for i := range a {
			slope.Set(pad+i, k, (a[i]-b[i])/(2*d))
		}
	}
	var whole mat.Cholesky
	var half, info, inv mat.Dense
	if !whole.Factorize(boundNoise(f, times, white)) {
		return 0, 0, false
	}
	if err := whole.SolveTo(&half, slope); err != nil {
		return 0, 0, false
	}
	info.Mul(slope.T(), &half)
	for k := range params {
		info.Set(k, k, info.At(k, k)+1/(prior[k]*prior[k]))
	}
	if err := inv.Inverse(&info); err != nil {
		return 0, 0, false
	}
	return math.Sqrt(inv.At(pTime, pTime)), math.Sqrt(inv.At(pTop, pTop)), true
}

// boundReadings are the times of the readings that the bound uses, those of the pad
// first, and the variance of each in m2. On the pad and long after the top so many are
// taken together that a matrix of all is small.
func boundReadings(f *ensemble.Flight) (pad int, times, white []float64) {
	u := &f.Truth
	one := f.Setup.NoiseM * f.Setup.NoiseM
	for i := 0; i < len(f.Samples); {
		t := f.S(f.Samples[i].At)
		k := 1
		longest := 0.0
		switch {
		case t < u.LiftoffS:
			longest = min(0.5, u.LiftoffS-t)
		case t > u.ApogeeS+6:
			longest = 0.2
		}
		for i+k < len(f.Samples) && f.S(f.Samples[i+k].At)-t < longest {
			k++
		}
		if t < u.LiftoffS {
			pad++
		}
		if t < u.LiftoffS || t > u.BurnoutS && t < u.TouchdownS {
			times, white = append(times, (t+f.S(f.Samples[i+k-1].At))/2), append(white, one/float64(k))
		}
		i += k
	}
	return pad, times, white
}

// levelVar is what nobody knows of the pad's level before its first reading, m2.
const levelVar = 100.0

// boundNoise is the covariance of those readings.
func boundNoise(f *ensemble.Flight, times, white []float64) *mat.SymDense {
	u, s := &f.Truth, &f.Setup
	gust := func(t float64) float64 {
		if t > u.LiftoffS && t < u.ReleaseS {
			return s.GustM * s.AirGust
		}
		return s.GustM
	}
	c := mat.NewSymDense(len(times), nil)
	for i, t := range times {
		for j := i; j < len(times); j++ {
			apart := times[j] - t
			v := levelVar + s.DriftM*s.DriftM*math.Exp(-apart/s.DriftTauS) + gust(t)*gust(times[j])*math.Exp(-apart/1.5)
			if i == j {
				v += white[i]
			}
			c.SetSym(i, j, v)
		}
	}
	return c
}

// heights are those of the model at rising times: from the apogee back in time, and
// forward.
func heights(theta [params]float64, times []float64, release float64) []float64 {
	out := make([]float64, len(times))
	var before, after []int
	for i, t := range times {
		if t < theta[pTime] {
			before = append(before, i)
		} else {
			after = append(after, i)
		}
	}
	slices.Reverse(before)
	for _, order := range [2][]int{before, after} {
		m := fallModel{theta: theta, release: release, t: theta[pTime], h: theta[pTop], u: theta[pAcross]}
		for _, i := range order {
			m.to(times[i])
			out[i] = m.h + theta[pPort]*m.v*m.v
		}
	}
	return out
}

// fallModel is the motion of the bound, at one moment.
type fallModel struct {
	theta            [params]float64
	release          float64
	t, h, v, u, fill float64
}

// to goes on to a time, later or earlier, by the midpoint rule.
func (m *fallModel) to(t float64) {
	const step = 0.01
	slope := func(v, u, fill float64, at float64) (av, au, w float64) {
		w = math.Hypot(v, u)
		d := math.Exp(m.theta[pBody])
		if at > m.release {
			part := min(1, (fill+0.05)/math.Exp(m.theta[pFill]))
			d += math.Exp(m.theta[pCanopy]) * part * part
		}
		return -9.80665 - d*w*v, -d * w * u, w
	}
	for left := t - m.t; math.Abs(left) > 1e-12; left = t - m.t {
		dt := max(-step, min(step, left))
		av, au, w := slope(m.v, m.u, m.fill, m.t)
		vm, um, fm := m.v+dt/2*av, m.u+dt/2*au, m.fill
		if m.t > m.release {
			fm += dt / 2 * w
		}
		av, au, w = slope(vm, um, fm, m.t+dt/2)
		m.h, m.v, m.u, m.t = m.h+dt*vm, m.v+dt*av, m.u+dt*au, m.t+dt
		if m.t > m.release {
			m.fill += dt * w
		}
	}
}

// TestBayesBound: without drag the information that n readings evenly over 2 T about
// the apogee have of its time is that of a parabola, n g² T²/(3 s²) (by hand: the
// derivative of the height is g (t - ta), and the mean of its square g² T²/3).
func TestBayesBound(t *testing.T) {
	times := []float64{}
	const T, n = 1.0, 400
	for i := range n {
		times = append(times, 10-T+2*T*(float64(i)+0.5)/n)
	}
	theta := [params]float64{100, 10, -30, -30, 0, 0, 0}
	a, b := theta, theta
	a[pTime] += 0.001
	b[pTime] -= 0.001
	up, down := heights(a, times, 1e9), heights(b, times, 1e9)
	sum := 0.0
	for i := range up {
		d := (up[i] - down[i]) / 0.002
		sum += d * d
	}
	want := n * 9.80665 * 9.80665 * T * T / 3
	if math.Abs(sum/want-1) > 0.01 {
		t.Errorf("information of the time %.0f, want %.0f", sum, want)
	}
}
