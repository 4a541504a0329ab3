package beeps

import (
	"math"
	"slices"

	"padlark/ingest/beeps"
)

// The power of noise in a row has an exponential distribution, that of noise with a
// tone a noncentral one (Rice's, in amplitudes; S. O. Rice, Mathematical analysis of
// random noise, 1945, section 3.10, from memory).

const (
	// rowWeight is the share of a row that is news: rows overlap.
	rowWeight = 0.3
	// rowMost bounds what one row may say, in nats: a shout, a dropout.
	rowMost = 2.5
	// cleanest is the least noise for a tone of power 1: uneven beeps.
	cleanest = 1.0 / 40
	// tailRows is how long after a beep its echo is measured.
	tailRows = 150 / beeps.StepMs
	// echoMost is the most that an echo may have of the tone's power.
	echoMost = 0.4
)

// levels are the powers of the tone, of its echo in the pauses, and of the noise,
// over the listener's floor. quiet is what may be in a pause as long as the echo is
// not known.
type levels struct{ tone, echo, noise, quiet float64 }

// rice is the log density of a power where noise of a mean power has a tone in it.
func rice(x, tone, noise float64) float64 {
	z := 2 * math.Sqrt(tone*x) / noise
	return z - 0.5*math.Log1p(2*math.Pi*z) - (tone+x)/noise - math.Log(noise)
}

// ratio is the log likelihood ratio of tone to no tone for a power. Walls make the
// tone of one beep weaker than that of another (its echo comes in and out of phase),
// and fill the pauses: in a pause there is noise alone, or an echo.
func (l levels) ratio(x float64) float64 {
	rel := func(tone float64) float64 { return rice(x, tone, max(l.noise, cleanest*tone)) }
	on := rel(l.tone)
	if l.tone > 15*l.noise {
		on = max(on+math.Log(0.6), rel(l.tone/2.5)+math.Log(0.3), rel(l.tone/6.3)+math.Log(0.1))
	}
	off := rice(x, 0, max(l.noise, l.quiet)) + math.Log(0.8)
	if l.echo > 0 {
		off = max(off, rel(l.echo)+math.Log(0.15), rel(l.echo/4)+math.Log(0.1)) // near enough to the sum
	}
	return on - off
}

// sums gives the summed ratios of the rows before each.
func (l levels) sums(power []float64) []float64 {
	out := make([]float64, len(power)+1)
	for i, x := range power {
		out[i+1] = out[i] + max(-rowMost, min(rowMost, rowWeight*l.ratio(x)))
	}
	return out
}

// smoothed is the mean of each row with two on both sides.
func smoothed(power []float64) []float64 {
	out := make([]float64, len(power))
	for i := range power {
		lo, hi := max(0, i-2), min(len(power), i+3)
		for _, x := range power[lo:hi] {
			out[i] += x / float64(hi-lo)
		}
	}
	return out
}

// guesses are levels to begin with: what stands out by itself, and where that is
// little, fainter tones that only their rhythm gives away.
func guesses(power []float64) []levels {
	out := []levels{firstLevels(power)}
	if out[0].tone < 25 {
		for _, tone := range []float64{2, 4, 8, 16} {
			out = append(out, levels{tone: tone, noise: 1})
		}
	}
	return out
}

// firstLevels tells tone from noise without knowing when which was: by expectation
// and maximisation (Dempster, Laird, Rubin 1977) from the loudest part on. What an
// echo is, is not known yet: half of the tone's amplitude is the border.
func firstLevels(power []float64) levels {
	smooth := smoothed(power)
	sorted := slices.Sorted(slices.Values(smooth))
	l := levels{noise: 1}
	l.tone = max(sorted[len(sorted)*96/100]-l.noise, 0.5*l.noise)
	share := 0.15
	for range 8 {
		var on, off, nOn, nOff float64
		n := max(l.noise, l.tone/12)
		for i, x := range power {
			s := smooth[i]
			a := share * math.Exp(max(-50, min(50, 2*rowWeight*(rice(s, l.tone, n)-rice(s, 0, n)))))
			p := a / (a + 1 - share)
			on, nOn = on+p*x, nOn+p
			off, nOff = off+(1-p)*x, nOff+1-p
		}
		l.noise = max(0.2, off/max(1, nOff))
		l.tone = max(on/max(1, nOn)-l.noise, 0.3*l.noise)
		share = max(0.03, min(0.8, nOn/float64(len(power))))
	}
	l.quiet = l.tone / 25
	return l
}

// measured are the levels now that it is known when the tone was on. The lead is
// louder than the rest where walls send it back, so that the short and long beeps
// tell the level.
func measured(power []float64, spans []Beep) levels {
	var on, off []float64
	mean := func(v []float64) float64 {
		sum := 0.0
		for _, x := range v {
			sum += x
		}
		return sum / float64(max(1, len(v)))
	}
	l := firstLevels(power)
	for i, b := range spans {
		if b.Kind != "lead" {
			on = append(on, mean(within(power, b.From, b.To)))
		}
		next := len(power)
		if i+1 < len(spans) {
			next = spans[i+1].From
		}
		if next-b.To > 4 { // its echo, if there is one
			off = append(off, mean(within(power, b.To, min(next, b.To+2+tailRows))))
		}
	}
	if len(on) < 3 {
		return l
	}
	l.noise, l.quiet, l.echo = 1, 0, 0
	l.tone = max(upper(on)-l.noise, 0.3*l.noise)
	if len(off) >= 3 {
		l.echo = max(0, min(echoMost*l.tone, median(off)-l.noise))
	}
	return l
}

func upper(v []float64) float64 {
	s := slices.Sorted(slices.Values(v))
	return s[len(s)*2/3]
}

func median(v []float64) float64 {
	s := slices.Sorted(slices.Values(v))
	return s[len(s)/2]
}

// within is the inner part of a stretch: its edges are smeared by a window.
func within(power []float64, from, to int) []float64 {
	if cut := min(2, (to-from-1)/2); cut > 0 {
		from, to = from+cut, to-cut
	}
	return power[max(0, from):min(len(power), max(from, to))]
}

// powers are those of a strip, as ratios.
func powers(s beeps.Strip) []float64 {
	out := make([]float64, len(s.DB))
	for i, db := range s.DB {
		out[i] = math.Pow(10, db/10)
	}
	return out
}
