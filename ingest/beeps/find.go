package beeps

import (
	"math"
	"slices"
)

// tone is a frequency that stands out.
type tone struct {
	hz    float64
	score float64   // how far out, in standard deviations of noise
	loud  int       // how loud, in units of a row
	db    []float64 // its course over the noise of the moment
	floor byte      // the usual noise, as in a row
	noise []float64 // the noise of the moment over what is usual, in dB
}

const (
	// floorAt is the quantile from which the noise is told: tones sound less than
	// half of the time. The power of noise in a bin has an exponential
	// distribution, of which it is the part floorMean of the mean.
	floorAt = 0.3
	// standOut is by how many standard deviations a bin must stand out.
	standOut = 6.0
	// fainter is by how many dB a tone may be fainter than the loudest.
	fainter = 18
	// overtone is how far from a whole multiple of a pitch an overtone may be found.
	overtone = 0.005
	// ratioMost bounds what one row may say for a tone.
	ratioMost = 20.0
)

// floorMean is quantile over mean, in dB: 10 lg(-ln(1-floorAt)).
func floorMean() float64 { return 10 * math.Log10(-math.Log(1-floorAt)) }

// find gives the tones of the rows that are kept, the clearest first.
func (l *Listener) find() []tone {
	floor := l.floor()
	calm := columnQuantiles(l.bursts, l.bands(), 0.5)
	// A burst (a word, a gust) lifts the noise of its band for its time.
	lift := make([][]int16, len(l.kept))
	flat := make([]int16, len(l.kept)*l.bands())
	for t := range l.bursts {
		lift[t] = flat[t*l.bands() : (t+1)*l.bands()]
		lo, hi := max(0, t-2), min(len(l.bursts), t+3)
		for i := range lift[t] {
			sum := 0
			for _, b := range l.bursts[lo:hi] {
				sum += int(b[i])
			}
			lift[t][i] = int16(sum/(hi-lo) - int(calm[i]))
		}
	}
	var table [512]float64 // of a difference + 256 in units: the ratio of powers
	off := floorMean()
	for i := range table {
		r := min(ratioMost, math.Pow(10, (float64(i-256)/powerUnit+off)/10))
		table[i] = r * r // a tone is there for a short time only, but then clearly
	}
	mean := make([]float64, l.bins)
	for t, row := range l.kept {
		for i, v := range row {
			d := int(v) - int(floor[i]) - int(lift[t][i/bandBins])
			// Of those beyond what is weighed, the loudest is the tone.
			mean[i] += table[max(0, min(511, d+256))] + 1e-3*float64(max(0, d))
		}
	}
	independent := float64(len(l.kept)) * StepMs / 40 // rows overlap
	for i := range mean {
		mean[i] /= float64(len(l.kept))
	}
	var out []tone
	for _, i := range peaks(mean, apartHz/l.step()) {
		if hz := float64(l.first+i) * l.step(); hz < lowestHz || hz > highestHz {
			continue
		}
		near, far := int(60/l.step()), int(300/l.step())
		around := max(middle(mean, i-far, i-near), middle(mean, i+near, i+far))
		score := (mean[i] - around) * math.Sqrt(independent) / max(2, around) / 2.2 // the square's own deviation
		if score < standOut {
			continue
		}
		i = l.centre(i, floor, lift)
		noise := l.noise(i, floor)
		t := tone{hz: l.pitch(i, floor, lift), score: score, loud: l.loud(i), floor: floor[i], noise: noise, db: l.course(i, floor, noise)}
		if slices.ContainsFunc(out, func(o tone) bool { return alike(&o, &t) }) {
			continue // an overtone, or the skirt of a loud one
		}
		if out = append(out, t); len(out) == tonesMost {
			break
		}
	}
	// What a microphone makes of two loud tones is no third one.
	most := 0
	for _, t := range out {
		most = max(most, t.loud)
	}
	return slices.DeleteFunc(out, func(t tone) bool { return t.loud < most-fainter*powerUnit })
}

// loud is how loud a bin is when it is loud.
func (l *Listener) loud(i int) int {
	col := make([]byte, len(l.kept))
	for t, row := range l.kept {
		col[t] = row[i]
	}
	return int(quantile(col, 0.95))
}

// floor is the noise of each bin. Where a tone sounds most of the time, its
// neighbours tell.
func (l *Listener) floor() []byte {
	own := columnQuantiles(l.kept, l.bins, floorAt)
	out := make([]byte, len(own))
	near, far := int(60/l.step()), int(300/l.step())
	var around []byte
	for i, v := range own {
		around = around[:0]
		for j := max(0, i-far); j <= min(len(own)-1, i+far); j++ {
			if j <= i-near || j >= i+near {
				around = append(around, own[j])
			}
		}
		out[i] = min(v, quantile(around, 0.5)+powerUnit)
	}
	return out
}

// columnQuantiles gives the quantile of each column of some rows.
func columnQuantiles(rows [][]byte, columns int, q float64) []byte {
	out := make([]byte, columns)
	col := make([]byte, len(rows))
	for i := range out {
		for t, row := range rows {
			col[t] = row[i]
		}
		out[i] = quantile(col, q)
	}
	return out
}

// peaks lists the local maxima, the highest first, no two nearer than apart.
func peaks(v []float64, apart float64) []int {
	var order []int
	for i := range v {
		if (i == 0 || v[i] >= v[i-1]) && (i == len(v)-1 || v[i] >= v[i+1]) {
			order = append(order, i)
		}
	}
	slices.SortFunc(order, func(a, b int) int {
		if v[a] != v[b] {
			if v[a] > v[b] {
				return -1
			}
			return 1
		}
		return a - b
	})
	var out []int
	for _, i := range order {
		if !slices.ContainsFunc(out, func(j int) bool { return math.Abs(float64(i-j)) < apart }) {
			out = append(out, i)
		}
		if len(out) == 4*tonesMost {
			break
		}
	}
	return out
}

// middle is the median of the bins from lo to hi, as far as there are any; else 1.
func middle(v []float64, lo, hi int) float64 {
	lo, hi = max(0, lo), min(len(v)-1, hi)
	if lo > hi {
		return 1
	}
	s := slices.Sorted(slices.Values(v[lo : hi+1]))
	return s[len(s)/2]
}

// pitch is the frequency of the loudest bin's tone, between the bins: a parabola
// through the levels in dB, which a Hann window's peak nearly is.
func (l *Listener) pitch(i int, floor []byte, lift [][]int16) float64 {
	at := float64(l.first + i)
	if i > 0 && i < l.bins-1 {
		a, b, c := l.above(i-1, floor, lift), l.above(i, floor, lift), l.above(i+1, floor, lift)
		if d := float64(a - 2*b + c); d < 0 {
			at += max(-0.5, min(0.5, 0.5*float64(a-c)/d))
		}
	}
	return at * l.step()
}

// above sums by how much a bin is above its noise, in units of a row.
func (l *Listener) above(i int, floor []byte, lift [][]int16) int {
	sum := 0
	for t, row := range l.kept {
		sum += max(0, int(row[i])-int(floor[i])-int(lift[t][i/bandBins]))
	}
	return sum
}

// How a tone's pitch may wander: it is looked at in stretches, and may be so many
// bins away from where it is most of the time.
const (
	wanderRows = 300 / StepMs
	wanderBins = 4
	wanderCost = 15.0 // for a bin further, squared, in dB summed over the rows
)

// centre is where near a peak the tone is loudest: the ratios of a loud one are
// alike around it.
func (l *Listener) centre(i int, floor []byte, lift [][]int16) int {
	best, most := i, -1
	for j := max(0, i-wanderBins); j <= min(l.bins-1, i+wanderBins); j++ {
		if sum := l.above(j, floor, lift); sum > most {
			best, most = j, sum
		}
	}
	return best
}

// How the noise of a moment is told: wind comes in gusts and a voice in syllables, and
// both are as loud beside the tone as at it.
const (
	nearHz, farHz = 55.0, 300.0
	noiseRows     = 3 // on both sides
)

// noise is that of each moment around the bin i, over its floor, in dB.
func (l *Listener) noise(i int, floor []byte) []float64 {
	near, far := int(math.Ceil(nearHz/l.step())), int(farHz/l.step())
	level := make([]float64, len(l.kept))
	around := make([]byte, 0, 2*far)
	for t, row := range l.kept {
		around = around[:0]
		for d := near; d <= far; d++ {
			for _, j := range [...]int{i - d, i + d} {
				if j >= 0 && j < l.bins {
					around = append(around, byte(max(0, min(255, int(row[j])-int(floor[j])+noiseZero))))
				}
			}
		}
		// The median is ln 2 of the mean.
		level[t] = float64(int(quantile(around, 0.5))-noiseZero)/powerUnit - 10*math.Log10(math.Ln2)
	}
	out := make([]float64, len(level))
	for t := range level {
		sum, weight := 0.0, 0.0
		for d := -noiseRows; d <= noiseRows; d++ {
			if k := t + d; k >= 0 && k < len(level) {
				w := float64(noiseRows + 1 - max(d, -d))
				sum, weight = sum+w*level[k], weight+w
			}
		}
		out[t] = sum/weight + floorMean()
	}
	return out
}

// noiseZero is where the differences of a row's values to their floor begin.
const noiseZero = 100

// course is what a strip says of the bin i and those that its tone wanders to.
func (l *Listener) course(i int, floor []byte, noise []float64) []float64 {
	off := floorMean()
	at := func(t, bin int) float64 {
		return float64(int(l.kept[t][bin])-int(floor[bin]))/powerUnit + off - noise[t]
	}
	// The best way through the stretches (dynamic programming).
	const ways = 2*wanderBins + 1
	parts := (len(l.kept) + wanderRows - 1) / wanderRows
	gain, from := make([][ways]float64, parts), make([][ways]int, parts)
	for p := range gain {
		for k := range gain[p] {
			bin := i + k - wanderBins
			if bin < 0 || bin >= l.bins {
				gain[p][k] = math.Inf(-1)
				continue
			}
			for t := p * wanderRows; t < min(len(l.kept), (p+1)*wanderRows); t++ {
				gain[p][k] += min(40, max(0, at(t, bin)))
			}
			if p == 0 {
				continue
			}
			best := math.Inf(-1)
			for j, g := range gain[p-1] {
				if v := g - wanderCost*float64((j-k)*(j-k)); v > best {
					best, from[p][k] = v, j
				}
			}
			gain[p][k] += best
		}
	}
	k := wanderBins
	for j, g := range gain[parts-1] {
		if g > gain[parts-1][k] {
			k = j
		}
	}
	out := make([]float64, len(l.kept))
	for p := parts - 1; p >= 0; p-- {
		for t := p * wanderRows; t < min(len(l.kept), (p+1)*wanderRows); t++ {
			out[t] = at(t, i+k-wanderBins)
		}
		k = from[p][k]
	}
	return out
}

// alike says whether a tone and a fainter one are those of one sounder: they rise and
// fall together. One at a whole multiple of the pitch is taken for its overtone, whatever
// its course: that of a faint one is mostly noise, and a clipped one has more in it.
func alike(s, t *tone) bool {
	if times := t.hz / s.hz; math.Round(times) > 1 && math.Abs(times/math.Round(times)-1) < overtone {
		return true
	}
	a, b := s.db, t.db
	var ma, mb float64
	for i := range a {
		ma, mb = ma+a[i], mb+b[i]
	}
	ma, mb = ma/float64(len(a)), mb/float64(len(b))
	var aa, ab, bb float64
	for i := range a {
		x, y := a[i]-ma, b[i]-mb
		aa, ab, bb = aa+x*x, ab+x*y, bb+y*y
	}
	return ab > 0.6*math.Sqrt(aa*bb)
}

// onDB is by how much the mean of a tenth of a second stands out where a tone is.
const onDB = 5.0

// lastOn is the last step at which the tone is heard.
func (t tone) lastOn() int {
	const w = 100 / StepMs
	sum, last := 0.0, 0
	for i, v := range t.db {
		sum += min(v, 20)
		if i >= w {
			sum -= min(t.db[i-w], 20)
		}
		if i >= w && sum/w > onDB {
			last = i
		}
	}
	return last
}
