package beeps

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// The range of tones, and of sampling rates that can be listened to, in Hz.
const (
	lowestHz, highestHz = 500.0, 6000.0
	fromHz              = 180.0 // of a row: a tone has neighbours on both sides
	minRate, maxRate    = 4000, 192000
)

const (
	windowMs = 60 // of one row: as long as a short beep
	bandBins = 20 // bins of a band, in which bursts of noise are noticed

	checkEvery = 2000 / StepMs      // rows between two looks for tones
	quietRows  = 8000 / StepMs      // a tone silent for so long has ended
	mostRows   = 90 * 1000 / StepMs // rows that are kept
	fewestRows = 1000 / StepMs      // less than this is not looked at
	leadRows   = quietRows/2 - 100  // what is kept of the silence before the next
	powerUnit  = 2                  // units of a row's values per dB
	powerZero  = 130                // value of a power of 0 dB
	tonesMost  = 6                  // strips of one stretch of sound
	apartHz    = 60.0               // two tones are at least so far from each other
	leastRate  = 14500.0            // samples a second that are worked with, if there are as many
)

// Listener turns samples into strips. Its memory is bounded: about 90 s of rows and
// of samples.
// It is not safe for concurrent use.
type Listener struct {
	rate   int     // samples a second that are pushed
	worked float64 // samples a second that are worked with
	down   decimator
	clips  clips
	size   int // samples of a window
	hop    float64
	fft    *fourier.FFT
	window []float64
	coeff  []complex128
	pad    []float64
	first  int // the FFT's bin of a row's first value
	bins   int

	buf   []float32 // samples of the kept rows and what follows, from sample `from` of the stream
	from  int64
	rows  int64 // rows made since the stream's start
	begun bool  // rows were dropped before the kept ones

	kept   [][]byte // rows, oldest first
	bursts [][]byte // of each row and band: its level
	spare  [][]byte
	due    int // rows until the next look
	wait   int // rows from the last look to the next
}

// NewListener listens to samples at a rate in Hz.
func NewListener(rate int) (*Listener, error) {
	if rate < minRate || rate > maxRate {
		return nil, fmt.Errorf("a rate of %d samples a second is out of range: %d to %d can be listened to", rate, minRate, maxRate)
	}
	l := &Listener{rate: rate, down: newDecimator(rate), clips: clips{slot: float64(rate) * StepMs / 1000}, due: checkEvery}
	l.worked = float64(rate) / float64(l.down.by)
	l.size, l.hop = int(l.worked*windowMs/1000), l.worked*StepMs/1000
	padded := 64 // 2^n or 3 * 2^n is quick to transform
	for padded < l.size {
		if padded += padded / 2; padded < l.size {
			padded += padded / 3
		}
	}
	l.fft = fourier.NewFFT(padded)
	l.pad = make([]float64, padded)
	l.window = make([]float64, l.size)
	for i := range l.window { // Hann
		l.window[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(l.size))
	}
	l.first = int(fromHz / l.step())
	top := min(highestHz+300, 0.48*l.worked)
	l.bins = int(top/l.step()) + 1 - l.first
	return l, nil
}

// step is the distance of two bins in Hz.
func (l *Listener) step() float64 { return l.worked / float64(len(l.pad)) }

func (l *Listener) bands() int { return (l.bins + bandBins - 1) / bandBins }

// Push takes the next samples (full scale 1) and gives the strips that are
// complete with them.
func (l *Listener) Push(samples []float64) []Strip {
	var out []Strip
	for len(samples) > 0 {
		n := min(len(samples), l.rate) // so that the buffer stays short
		l.clips.push(samples[:n])
		l.buf = l.down.push(l.buf, samples[:n])
		samples = samples[n:]
		out = append(out, l.run()...)
	}
	return out
}

// run makes the rows for which there are samples.
func (l *Listener) run() []Strip {
	var out []Strip
	for {
		start := l.starts(l.rows) - l.from
		if start+int64(l.size) > int64(len(l.buf)) {
			return out
		}
		l.row(l.buf[start : start+int64(l.size)])
		l.rows++
		if len(l.kept) > mostRows {
			l.drop(checkEvery)
		}
		if l.due--; l.due <= 0 {
			out = append(out, l.look(false)...)
			l.due = l.wait
		}
	}
}

// starts is the sample at which a row starts.
func (l *Listener) starts(row int64) int64 { return int64(float64(row) * l.hop) }

// Held is about how many bytes the listener keeps.
func (l *Listener) Held() int {
	return 4*cap(l.buf) + (len(l.kept)+len(l.spare)/2)*(l.bins+l.bands())
}

// End gives the strips of what is left. Then the listener is as new.
func (l *Listener) End() []Strip {
	out := l.look(true)
	l.drop(len(l.kept))
	l.buf, l.from, l.rows, l.begun, l.due = l.buf[:0], 0, 0, false, checkEvery
	l.down.reset()
	l.clips = clips{slot: l.clips.slot, share: l.clips.share[:0]}
	return out
}

// row makes one row of a window of samples.
func (l *Listener) row(x []float32) {
	for i, v := range x {
		l.pad[i] = float64(v) * l.window[i]
	}
	clear(l.pad[len(x):])
	l.coeff = l.fft.Coefficients(l.coeff, l.pad)
	row, burst := l.take(l.bins), l.take(l.bands())
	for i := range row {
		c := l.coeff[l.first+i]
		row[i] = logPower((real(c)*real(c) + imag(c)*imag(c)) / float64(l.size))
	}
	for b := range burst {
		burst[b] = quantile(row[b*bandBins:min(len(row), (b+1)*bandBins)], 0.5)
	}
	l.kept, l.bursts = append(l.kept, row), append(l.bursts, burst)
}

// logPower is a power in the units of a row.
func logPower(p float64) byte {
	if !(p > 1e-12) {
		return 0
	}
	return byte(min(255, max(0, 10*powerUnit*math.Log10(p)+powerZero+0.5)))
}

// quantile of the values of a row.
func quantile(v []byte, q float64) byte {
	var count [256]uint16
	for _, x := range v {
		count[x]++
	}
	left := int(q * float64(len(v)))
	for x, n := range count {
		if left -= int(n); left < 0 {
			return byte(x)
		}
	}
	return 255
}

// take gives a slice that is no longer used, or a new one.
func (l *Listener) take(n int) []byte {
	for i := len(l.spare) - 1; i >= 0 && i >= len(l.spare)-2; i-- {
		if s := l.spare[i]; len(s) == n {
			l.spare[i] = l.spare[len(l.spare)-1]
			l.spare = l.spare[:len(l.spare)-1]
			return s
		}
	}
	return make([]byte, n)
}

// drop forgets the oldest n rows.
func (l *Listener) drop(n int) {
	if n <= 0 {
		return
	}
	n = min(n, len(l.kept))
	if len(l.spare) < 4*checkEvery {
		for i := range n {
			l.spare = append(l.spare, l.bursts[i], l.kept[i])
		}
	}
	l.kept = l.kept[:copy(l.kept, l.kept[n:])]
	l.bursts = l.bursts[:copy(l.bursts, l.bursts[n:])]
	l.begun = true
	l.clips.drop(l.rows - int64(len(l.kept)))
	used := min(l.starts(l.rows-int64(len(l.kept)))-l.from, int64(len(l.buf)))
	l.buf = l.buf[:copy(l.buf, l.buf[used:])]
	l.from += used
}

// look looks for tones in the rows that are kept, and gives them when the last of
// them has ended, or there is no room for more.
func (l *Listener) look(end bool) []Strip {
	l.wait = checkEvery
	if len(l.kept) < fewestRows {
		return nil
	}
	// No tone that is heard now or begins later has ended before so many rows more.
	full := len(l.kept)+checkEvery > mostRows
	room := mostRows - checkEvery - len(l.kept)
	tones := l.find()
	if len(tones) == 0 {
		l.wait = quietRows
		return nil
	}
	last := 0
	for _, t := range tones {
		last = max(last, t.lastOn())
	}
	quiet := len(l.kept) - last
	if !end && !full && quiet < quietRows {
		l.wait = max(checkEvery, min(quietRows-quiet, room))
		return nil
	}
	var out []Strip
	for _, t := range tones {
		s := Strip{FromStart: !l.begun || l.rows > int64(len(l.kept)), ToEnd: quiet < quietRows}
		s.Wave, s.NoiseDB = l.wave(&t)
		s.PitchHz = int(math.Round(t.hz))
		s.DB = s.course()
		out = append(out, s)
	}
	l.drop(len(l.kept) - min(quiet, leadRows))
	return out
}
