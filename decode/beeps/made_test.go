package beeps_test

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/dsp/fourier"
)

// The sounders of this file are made without the package: what a board beeps is
// written here a second time, with the timing of a loop on a small processor, and
// the field around it. The share of noise is measured on what was made.
//
// Signal-to-noise ratio: the mean power of the tone while it sounds (without its
// echo) over the mean power of all noise of the recording in the third-octave band
// around the tone (edges f * 2^(±1/6), IEC 61260-1). Noise is hiss, wind and
// voices; a second sounder at another pitch is not counted.
//
// Why this band: it is about as wide as the ear's own (critical bands are about a
// third of an octave above 500 Hz; common practice, no source), so that at 0 dB a
// person who counts has as much noise as tone, and narrower than the range that the
// pitch is drawn from, which would make it 7 to 12 dB easier. It is 0.23 f wide. The
// other reading, the band that a detector of one beep needs (1/T, some 4 to 14 Hz),
// cannot be meant: at 0 dB there the energy of a beep is the density of the noise
// (E/N0 = 1), and one beep is as likely missed as heard. In that measure the beeps
// here have E/N0 = 0.23 f T at 0 dB: 17 (f = 1 kHz, T = 73 ms) to 290 (5 kHz,
// 250 ms), and a quarter of it at -6 dB: 4 to 72.

// board is how one kind of board beeps.
type board struct {
	name                 string
	lead, leadGap        float64 // s; 0 none
	short, long          float64 // s
	inner, group, number float64 // s
	longZero, marks      bool    // zero is ten otherwise
	most                 int     // the highest reading
}

// The three kinds that are tried; the first two are the package's examples.
var boards = []board{
	{name: "counts", short: 0.12, inner: 0.13, group: 0.7, number: 2.5, most: 999},
	{name: "long-zero", lead: 1.0, leadGap: 0.7, short: 0.15, long: 0.5, inner: 0.15, group: 0.8, number: 3, longZero: true, most: 1999},
	{name: "marks", short: 0.15, long: 0.6, inner: 0.25, group: 0.8, number: 3, marks: true, most: 99},
}

// sound is one stretch: so long on or off.
type sound struct {
	on   bool
	s    float64
	beep int // 1 of a group, 2 the last of a group
}

// says is one reading as the board beeps it, without the pause after it.
func (b board) says(v int) []sound {
	var out []sound
	if b.lead > 0 {
		out = append(out, sound{on: true, s: b.lead}, sound{s: b.leadGap})
	}
	beep := func(n int, s float64) {
		for i := range n {
			if i > 0 {
				out = append(out, sound{s: b.inner})
			}
			out = append(out, sound{on: true, s: s, beep: 1 + (i+1)/n})
		}
	}
	if b.marks {
		beep(v/10, b.long)
		if v/10 > 0 && v%10 > 0 {
			out = append(out, sound{s: b.group})
		}
		beep(v%10, b.short)
		return out
	}
	text := []int{}
	for x := v; x > 0 || len(text) == 0; x /= 10 {
		text = append([]int{x % 10}, text...)
	}
	for i, d := range text {
		if i > 0 {
			out = append(out, sound{s: b.group})
		}
		switch {
		case d > 0:
			beep(d, b.short)
		case b.longZero:
			beep(1, b.long)
		default:
			beep(10, b.short)
		}
	}
	return out
}

// made is one recording with what is true of it.
type made struct {
	scene
	pcm []float64 // full scale is 1
}

// scene is what sounds on a field, and how it is recorded.
type scene struct {
	rate    int
	pitch   float64
	board   board
	value   int
	second  float64 // pitch of another sounder; 0 none
	phone   bool
	lossy   bool    // is to go through an MP3 encoder
	partial bool    // begins within a reading
	clipped bool    // overdriven
	repeats int     // readings, the first perhaps heard in part
	beepS   float64 // of a short beep, s
	pace    float64 // how much slower than usual the whole is
	loop    float64 // the board looks at its clock so often, s
	echoDB  float64 // the loudest echo over the tone
	windy   float64 // wind over hiss, as amplitudes
	voiced  float64 // voices over hiss, as powers

	score  []sound // what is beeped, from begin on, s
	begin  float64
	tone   []float64 // with its echo
	noise  []float64 // as loud as the tone in the band around it
	others []float64 // the second sounder; nil none
	gain   float64   // of the recorder, over the mean of what it hears
}

// draw makes a scene. speech is voices at 16 kHz to mix in, nil for a quiet crew.
func draw(seed uint64, speech []float64) *scene {
	r := rand.New(rand.NewPCG(seed, 16))
	m := &scene{board: boards[r.IntN(len(boards))], echoDB: math.Inf(-1)}
	m.phone = r.IntN(4) == 0
	m.lossy = !m.phone && r.IntN(4) == 0
	m.rate = []int{16000, 22050, 44100, 48000}[r.IntN(4)]
	m.pitch = 1000 + 4000*r.Float64()
	if m.phone {
		m.rate, m.pitch = 8000, 1000+2200*r.Float64()
	}
	digits := 1 + r.IntN(3)
	m.value = 1 + r.IntN(min(m.board.most, int(math.Pow10(digits+1))-1))

	// The rate of the whole, and how each stretch differs from the kind's own.
	pace := 0.7 + 0.8*r.Float64()
	m.pace = pace
	own := func(s float64) float64 { return s * pace * (0.87 + 0.26*r.Float64()) }
	b := m.board
	b.lead, b.leadGap, b.short, b.long = own(b.lead), own(b.leadGap), own(b.short), own(b.long)
	b.inner, b.group, b.number = own(b.inner), own(b.group), own(b.number)
	m.loop, m.beepS = []float64{0.001, 0.005, 0.02}[r.IntN(3)], b.short
	sway := 0.05 * r.Float64()

	m.repeats = 3 + r.IntN(3)
	score := []sound{{s: 0.3 + 2*r.Float64()}}
	for i := range m.repeats {
		if i > 0 {
			score = append(score, sound{s: b.number})
		}
		score = append(score, b.says(m.value)...)
	}
	score = append(score, sound{s: 0.5 + b.number*r.Float64()})
	all := 0.0
	for i := range score {
		s := score[i].s * (1 + sway*r.NormFloat64())
		score[i].s = m.loop * math.Max(1, math.Round(s/m.loop))
		all += score[i].s
	}
	begin := 0.0
	if r.IntN(5) == 0 {
		m.partial = true
		begin = all / float64(m.repeats) * r.Float64()
	}
	m.score, m.begin = score, begin
	n := int(all * float64(m.rate))
	clean := make([]float64, n)
	sounder(clean, score, m.pitch, m.rate, r)
	const power = 0.5

	m.tone = append([]float64(nil), clean...)
	for k := range r.IntN(4) { // walls, cars, a hangar: one is the strongest
		delay := int((0.01 + 0.2*r.Float64()*r.Float64()) * float64(m.rate))
		gain := math.Pow(10, -(8+14*r.Float64()+4*float64(k))/20)
		m.echoDB = max(m.echoDB, 20*math.Log10(gain))
		for i := delay; i < n; i++ {
			m.tone[i] += gain * clean[i-delay]
		}
	}
	m.noise, m.windy, m.voiced = field(n, m.rate, r, speech)
	scale := math.Sqrt(power / bandPower(m.noise, m.rate, m.pitch))
	for i := range m.noise {
		m.noise[i] *= scale
	}
	if r.IntN(4) == 0 { // another sounder, at least 300 Hz away
		for m.second == 0 || math.Abs(m.second-m.pitch) < 300 || m.second > 0.42*float64(m.rate) {
			m.second = 1000 + 4000*r.Float64()
			if m.phone {
				m.second = 1000 + 2200*r.Float64()
			}
		}
		other := boards[r.IntN(len(boards))]
		score := []sound{{s: 3 * r.Float64()}}
		for range 12 {
			score = append(append(score, other.says(1+r.IntN(other.most))...), sound{s: other.number})
		}
		m.others = make([]float64, n)
		sounder(m.others, score, m.second, m.rate, r)
		gain := math.Pow(10, -12*r.Float64()/20)
		for i := range m.others {
			m.others[i] *= gain
		}
		m.others = m.others[int(begin*float64(m.rate)):]
	}
	m.tone, m.noise = m.tone[int(begin*float64(m.rate)):], m.noise[int(begin*float64(m.rate)):]
	m.gain = math.Pow(10, -(6+30*r.Float64())/20)
	if m.clipped = r.IntN(4) == 0; m.clipped {
		m.gain = 0.5 + 1.2*r.Float64()
	}
	return m
}

// record is the scene with a tone so far over the noise, in dB.
func (s *scene) record(snr float64) made {
	m := made{scene: *s, pcm: make([]float64, len(s.tone))}
	scale := math.Pow(10, -snr/20)
	for i := range m.pcm {
		m.pcm[i] = s.tone[i] + scale*s.noise[i]
		if s.others != nil {
			m.pcm[i] += s.others[i]
		}
	}
	m.pcm = microphone(m.pcm, m.rate, m.phone, m.gain)
	return m
}

// sounder adds a piezo's tone: not quite steady, with overtones, and with edges of
// some milliseconds. Its fundamental has the amplitude 1.
func sounder(into []float64, score []sound, pitch float64, rate int, r *rand.Rand) {
	edge := 0.002 + 0.008*r.Float64()
	third := 0.3 * r.Float64()
	slow, far := 0.2+r.Float64(), 0.002*r.Float64()
	phase, t0, level := 0.0, 0.0, 1.0
	for _, s := range score {
		if s.on {
			level = math.Pow(10, 0.7*r.NormFloat64()/20)
		}
		for i := int(t0 * float64(rate)); i < min(len(into), int((t0+s.s)*float64(rate))); i++ {
			t := float64(i) / float64(rate)
			phase += 2 * math.Pi * pitch * (1 + far*math.Sin(slow*t)) / float64(rate)
			if !s.on {
				continue
			}
			a := level * min(1, (t-t0)/edge, (t0+s.s-t)/edge)
			into[i] += a * math.Sin(phase)
			if 3*pitch < 0.45*float64(rate) {
				into[i] += a * third * math.Sin(3*phase)
			}
		}
		t0 += s.s
	}
}

// field is noise on an airfield: hiss, wind that comes in gusts (its power falls
// with the frequency), and voices.
func field(n, rate int, r *rand.Rand, speech []float64) (out []float64, windy, voiced float64) {
	out = make([]float64, n)
	windy = 8 * r.Float64()
	pink := 0.0
	gust, target := 0.5, 0.5
	pole := math.Exp(-2 * math.Pi * (60 + 140*r.Float64()) / float64(rate))
	for i := range out {
		if i%(rate/4) == 0 {
			target = math.Max(0, 0.5+0.6*r.NormFloat64())
		}
		gust += (target - gust) * 4 / float64(rate)
		pink = pole*pink + (1-pole)*r.NormFloat64()*20
		out[i] = r.NormFloat64() + windy*gust*pink
	}
	if len(speech) == 0 {
		return out, windy, 0
	}
	// Voices are as loud as they come: their mean power is up to twice that of the
	// hiss, and they speak half the time or so.
	voiced = 2 * r.Float64()
	loud := math.Sqrt(voiced / meanPower(speech))
	at := r.IntN(len(speech))
	ratio := 16000 / float64(rate)
	for i := range out {
		x := float64(at) + float64(i)*ratio
		k := int(x)
		f := x - float64(k)
		out[i] += loud * ((1-f)*speech[k%len(speech)] + f*speech[(k+1)%len(speech)])
	}
	return out, windy, voiced
}

func meanPower(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return sum / float64(len(x))
}

// bandPower is the mean power in the third-octave band around a frequency, by
// Welch's method: Hann windows of 4096 samples.
func bandPower(x []float64, rate int, f float64) float64 {
	const size = 4096
	fft := fourier.NewFFT(size)
	buf, w2 := make([]float64, size), 0.0
	sum, windows := 0.0, 0
	lo, hi := f*math.Pow(2, -1.0/6), f*math.Pow(2, 1.0/6)
	var coeff []complex128
	for at := 0; at+size <= len(x); at += size {
		w2 = 0
		for i := range buf {
			w := 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/size)
			buf[i] = w * x[at+i]
			w2 += w * w
		}
		coeff = fft.Coefficients(coeff, buf)
		for k := range coeff {
			if g := float64(k) * float64(rate) / size; g >= lo && g <= hi {
				re, im := real(coeff[k]), imag(coeff[k])
				sum += 2 * (re*re + im*im)
			}
		}
		windows++
	}
	return sum / (w2 * size) / float64(windows)
}

// microphone is the way into a file: gain, clipping of what is loud, for a
// telephone its band and 8-bit companding.
func microphone(x []float64, rate int, phone bool, gain float64) []float64 {
	gain /= math.Sqrt(meanPower(x))
	out := make([]float64, len(x))
	if phone {
		x = bandPass(x, rate, 300, 3400)
	}
	for i, v := range x {
		v = math.Max(-1, math.Min(1, gain*v))
		if phone { // mu-law, ITU-T G.711: mu = 255, 8 bits
			y := math.Log1p(255*math.Abs(v)) / math.Log(256)
			y = math.Round(y*127) / 127
			v = math.Copysign(math.Expm1(y*math.Log(256))/255, v)
		}
		out[i] = math.Round(v*32767) / 32767
	}
	return out
}

// bandPass leaves what is between two frequencies, by biquads of the second order
// (high pass and low pass, each twice; R. Bristow-Johnson's formulas, Q = 0.71).
func bandPass(x []float64, rate int, lo, hi float64) []float64 {
	out := append([]float64(nil), x...)
	for range 2 {
		for _, high := range []bool{true, false} {
			f := hi
			if high {
				f = lo
			}
			w := 2 * math.Pi * f / float64(rate)
			c, a := math.Cos(w), math.Sin(w)/(2*0.7071)
			b0, b1 := (1-c)/2, 1-c
			if high {
				b0, b1 = (1+c)/2, -(1 + c)
			}
			var x1, x2, y1, y2 float64
			for i, v := range out {
				y := (b0*v + b1*x1 + b0*x2 + 2*c*y1 - (1-a)*y2) / (1 + a)
				x2, x1, y2, y1 = x1, v, y1, y
				out[i] = y
			}
		}
	}
	return out
}
