package beeps

import (
	"math"
	"math/cmplx"
	"slices"

	"padlark/ingest/beeps"
)

// A beep is weighed as a whole: its wave is summed with its phase (a matched filter),
// and the length of the sum compared with what a tone of the level would give there,
// and noise alone. The length of noise's sum has a Rayleigh distribution, that of a
// tone in noise a Rician one (S. O. Rice, Mathematical analysis of random noise,
// 1945, section 3.10, from memory).

const (
	// pieceRows is the most that is summed with its phase: the pitch is not steadier.
	pieceRows = 16
	// unlike is how far a tone is from an even one, in power: walls make some beeps
	// weaker than others and fill the pauses, and a sounder's beeps are uneven. It
	// bounds what a clean recording says.
	unlike = 0.15
	// loudest is how much louder than its level a beep may be, in amplitude: what is
	// louder than that says less, until it says nothing: it is something else.
	loudest, tooLoud = 1.2, 0.5
	// burstSDs of the noise is what a row may have beyond the loudest tone.
	burstSDs = 2.0
	// weaker and weakerCost are how weak some beeps are, where walls send one back
	// against the next, and the cost of saying so in nats.
	weaker, weakerCost = 0.7, 2.3
	// restRows is how many rows the noise that is known beforehand is worth, and restMost
	// how much louder than that it may be in a stretch before it counts: voices and
	// steps are louder where they are taken for beeps.
	restRows, restMost = 6.0, 1.2
	// rowMost bounds what one row may say, in nats, where only its power is known.
	rowMost = 2.5
)

// ear is what a strip says for a tone of a level, in steps of some rows.
type ear struct {
	sum []complex128 // of the wave, weighed by level and noise, of the rows before each
	all []float64    // what a tone of the level gives there, in nats
	sqr []float64    // the wave's power over the noise's
	row []float64    // instead of both where only powers are known: their log likelihood ratios

	pieces []float64 // [row][length up to pieceRows - 1]: what piece gives; nil not yet
}

// hear weighs a strip for a tone of a level: its power over the usual noise.
func hear(s *beeps.Strip, level float64) *ear {
	n := len(s.DB)
	if len(s.Wave) == 0 {
		e := &ear{row: make([]float64, n+1)}
		for i, db := range s.DB {
			e.row[i+1] = e.row[i] + rowRatio(math.Pow(10, db/10), level)
		}
		return e
	}
	e := &ear{sum: make([]complex128, n+1), all: make([]float64, n+1), sqr: make([]float64, n+1)}
	a := math.Sqrt(level)
	for i, z := range s.Wave {
		noise := math.Pow(10, s.NoiseDB[i]/10)
		v := noise + unlike*level
		// What no tone of the level explains is a burst, beside the tone or without it:
		// it says little of either.
		if more := cmplx.Abs(z) - loudest*a - burstSDs*math.Sqrt(noise); more > 0 {
			v += more * more
		}
		e.sum[i+1] = e.sum[i] + complex(a/v, 0)*z
		e.all[i+1] = e.all[i] + level/v
		e.sqr[i+1] = e.sqr[i] + (real(z)*real(z)+imag(z)*imag(z))/v
	}
	return e
}

// rowRatio is the log likelihood ratio of tone to noise for the power of one row, of
// which a third is news: rows overlap.
func rowRatio(x, tone float64) float64 {
	n := max(1, tone/40)
	z := 2 * math.Sqrt(tone*x) / n
	on := z - 0.5*math.Log1p(2*math.Pi*z) - (tone+x)/n - math.Log(n)
	off := math.Log(0.97*math.Exp(-x) + 0.03*math.Exp(-x/6)/6)
	return max(-rowMost, min(rowMost, 0.3*(on-off)))
}

// rows is how many rows there are.
func (e *ear) rows() int { return max(len(e.row), len(e.sum)) - 1 }

// weighed works all pieces out: the search asks for each many times.
func (e *ear) weighed() *ear {
	rows := e.rows()
	pieces := make([]float64, (rows+1)*pieceRows)
	for from := range rows {
		for n := 1; n <= min(pieceRows, rows-from); n++ {
			pieces[from*pieceRows+n-1] = e.piece(from, from+n)
		}
	}
	e.pieces = pieces
	return e
}

// piece is the log likelihood ratio of tone to noise for some rows at once.
func (e *ear) piece(from, to int) float64 {
	if e.pieces != nil {
		if from == to {
			return 0
		}
		return e.pieces[from*pieceRows+to-from-1]
	}
	if e.row != nil {
		return e.row[to] - e.row[from]
	}
	z := e.sum[to] - e.sum[from]
	all := e.all[to] - e.all[from]
	r := math.Sqrt(real(z)*real(z) + imag(z)*imag(z))
	// What a steady tone leaves of the power tells how loud the noise was just there.
	if rest := (e.sqr[to] - e.sqr[from] - r*r/all + restRows) / (float64(to-from) - 1 + restRows); rest > restMost {
		r, all = r*restMost/rest, all*restMost/rest
	}
	if r > loudest*all {
		r = max(0.5*all, loudest*all-tooLoud*(r-loudest*all))
	}
	// ln I0(2 r) is nearly 2 r - ln(4 pi r) / 2.
	spread := 0.5 * math.Log1p(4*math.Pi*r)
	return max(2*r-all, 2*weaker*r-weaker*weaker*all-weakerCost) - spread
}

// tone is that for a stretch of any length.
func (e *ear) tone(from, to int) float64 {
	n := (to - from + pieceRows - 1) / pieceRows
	out := 0.0
	for k := range n {
		out += e.piece(from+k*(to-from)/n, from+(k+1)*(to-from)/n)
	}
	return out
}

// levelsTried are those that a tone may have, from the faintest on.
func levelsTried() []float64 {
	var out []float64
	for db := -12.0; db <= 48; db += 3 {
		out = append(out, math.Pow(10, db/10))
	}
	return out
}

// guess gives the level that explains the strip best without knowing when it beeped.
func guess(s *beeps.Strip) float64 {
	const share, rows = 0.2, 10
	best, most := 1.0, math.Inf(-1)
	for _, level := range levelsTried() {
		e := hear(s, level)
		sum := 0.0
		for at := 0; at+rows <= e.rows(); at += rows / 2 {
			sum += math.Log(1 - share + share*math.Exp(e.piece(at, at+rows)))
		}
		if sum > most {
			best, most = level, sum
		}
	}
	return best
}

// measured is the level now that it is known when it beeped. The lead is louder than
// the rest where walls send it back, so that the short and long beeps tell.
func measured(s *beeps.Strip, spans []Beep, was float64) float64 {
	var found []float64
	total, weights := 0.0, 0.0
	for _, b := range spans {
		from, to := within(b.From, b.To, len(s.DB))
		if b.Kind == "lead" || to-from > 2*pieceRows || to <= from {
			continue
		}
		if len(s.Wave) == 0 {
			sum := 0.0
			for _, db := range s.DB[from:to] {
				sum += math.Pow(10, db/10) / float64(to-from)
			}
			found = append(found, sum-1)
			continue
		}
		var sum complex128
		weight := 0.0
		for i := from; i < to; i++ {
			w := math.Pow(10, -s.NoiseDB[i]/10)
			sum, weight = sum+complex(w, 0)*s.Wave[i], weight+w
		}
		p := (real(sum)*real(sum)+imag(sum)*imag(sum))/(weight*weight) - 1/weight
		found = append(found, p)
		total, weights = total+weight*p, weights+weight
	}
	switch {
	case len(found) < 3:
		return was
	case weights > 0:
		return max(0.03, total/weights)
	}
	return max(0.3, slices.Sorted(slices.Values(found))[len(found)/2])
}

// within is the inner part of a stretch: its edges are not known to a row.
func within(from, to, all int) (int, int) {
	if cut := min(1, (to-from-1)/2); cut > 0 {
		from, to = from+cut, to-cut
	}
	return max(0, from), min(all, max(from, to))
}
