package beeps

import (
	"math"
	"math/cmplx"
)

// The tone's own course, by amplitude and phase: with it a beep can be weighed over
// its whole length at once, which hears 2 to 4 dB more than rows do. For that, the
// pitch must be known to a hertz or two at each moment.
const (
	trackRows  = 32   // of a stretch in which the pitch is looked for
	trackHz    = 39.0 // so far from where it is most of the time
	trackStep  = 1.5  // Hz
	trackCost  = 2.5  // nats for a step further from one stretch to the next, squared
	trackBound = 25.0 // nats that one stretch may say
)

const (
	// leastPassed bounds what is made of sound that is all clipped.
	leastPassed = 0.15
	// cleanestDB is the least noise below a tone, in dB: silence may be digital.
	cleanestDB = 50
)

// wave gives the tone at each row: a block of 10 ms in the middle of the row's window,
// over the usual noise, turned so that a steady tone stands still; and the noise there
// in dB. Where some of it was clipped, both are what they would be for a tone that
// came through whole.
func (l *Listener) wave(t *tone) (wave []complex128, noise []float64) {
	n := len(l.kept)
	block := int(l.hop)
	// A row's mean power is that of the samples times that of its window.
	quiet := max(0, t.loud-int(t.floor)-cleanestDB*powerUnit)
	usual := math.Pow(10, ((float64(int(t.floor)+quiet)-powerZero)/powerUnit-floorMean())/10) / 0.375
	scale := complex(1/math.Sqrt(float64(block)*usual), 0)
	out := make([]complex128, n)
	noise = make([]float64, n)
	turn := -2 * math.Pi * t.hz / l.worked
	step := cmplx.Rect(1, turn)
	first := l.rows - int64(n)
	for i := range out {
		at := l.starts(first+int64(i)) + int64(l.size-block)/2
		now := cmplx.Rect(1, math.Mod(turn*float64(at), 2*math.Pi))
		var sum complex128
		for _, v := range l.buf[at-l.from : at-l.from+int64(block)] {
			sum += complex(float64(v), 0) * now
			now *= step
		}
		passed := max(leastPassed, l.clips.passed(first+int64(i)))
		out[i] = sum * scale * complex(1/passed, 0)
		noise[i] = t.noise[i]
		if quiet > 0 {
			noise[i] = max(0, noise[i]-float64(quiet)/powerUnit)
		}
		noise[i] -= 20 * math.Log10(passed)
	}
	weight := make([]float64, n)
	for i := range weight {
		weight[i] = math.Pow(10, -noise[i]/10)
	}
	hz, mean := track(out, weight)
	t.hz += mean
	phase := 0.0
	for i := range out {
		phase -= 2 * math.Pi * hz[i] * StepMs / 1000
		out[i] *= cmplx.Rect(1, phase)
	}
	return out, noise
}

// track finds the course of the pitch, in Hz from its mean: the best way through
// stretches that overlap by half (dynamic programming), in which it is steady; and
// where it is on the whole.
func track(wave []complex128, weight []float64) (out []float64, mean float64) {
	const ways = 2*int(trackHz/trackStep) + 1
	const hop = trackRows / 2
	parts := max(1, (len(wave)-1)/hop)
	gain, from, said := make([][ways]float64, parts), make([][ways]int8, parts), make([]float64, parts)
	for p := range gain {
		end := min(len(wave), p*hop+trackRows)
		total, most := 0.0, 0.0
		for i := p * hop; i < end; i++ {
			total += weight[i]
		}
		for k := range ways {
			step := cmplx.Rect(1, -2*math.Pi*float64(k-ways/2)*trackStep*StepMs/1000)
			now, sum := complex(1, 0), complex(0, 0)
			for i := p * hop; i < end; i++ {
				sum += wave[i] * now * complex(weight[i], 0)
				now *= step
			}
			gain[p][k] = (real(sum)*real(sum) + imag(sum)*imag(sum)) / total
			most = max(most, gain[p][k])
		}
		if most > trackBound {
			for k := range ways {
				gain[p][k] *= trackBound / most
			}
		}
		said[p] = min(most, trackBound)
		if p == 0 {
			continue
		}
		for k := range ways {
			best := math.Inf(-1)
			for j := max(0, k-3); j <= min(ways-1, k+3); j++ {
				if v := gain[p-1][j] - trackCost*float64((j-k)*(j-k)); v > best {
					best, from[p][k] = v, int8(j)
				}
			}
			gain[p][k] += best
		}
	}
	k := ways / 2
	for j, g := range gain[parts-1] {
		if g > gain[parts-1][k] {
			k = j
		}
	}
	found := make([]float64, parts)
	for p := parts - 1; p >= 0; p-- {
		found[p] = float64(k-ways/2) * trackStep
		k = int(from[p][k])
	}
	weights := 0.0
	for p, v := range said { // noise alone says some 5
		w := max(0, v-8)
		mean, weights = mean+w*found[p], weights+w
	}
	mean /= max(1, weights)
	out = make([]float64, len(wave))
	for i := range out { // between the middles of the stretches
		at := float64(i-hop) / hop
		p := max(0, min(parts-1, int(math.Floor(at))))
		q := min(parts-1, p+1)
		f := max(0, min(1, at-float64(p)))
		out[i] = (1-f)*found[p] + f*found[q]
	}
	return out, mean
}
