package beeps

import (
	"encoding/binary"
	"fmt"
	"math"
)

// StepMs is how far apart the values of a strip are, in ms.
const StepMs = 10

// maxSteps bounds a strip: two minutes.
const maxSteps = 120 * 1000 / StepMs

// dbUnit is the unit of a strip's values in dB.
const dbUnit = 0.5

// dbLowest is the lowest value that a strip holds, in dB.
const dbLowest = -30.0

// Strip is the course of one tone. As bytes it is
//
//	"plbp" | version 1 (u8) | flags (u8) | pitch in Hz (u16, little-endian) | n bytes
//
// where each byte is the tone's power over that of the noise around it, in halves
// of a dB from -30 dB on, every 10 ms. Version 2 has for each step the noise of the
// moment over what is usual, in the same way, and the tone's wave in two bytes (in
// phase and a quarter behind; signed, in a logarithm), from which the power follows.
type Strip struct {
	PitchHz int
	// FromStart and ToEnd say that the strip begins where the listening began, or
	// was cut while the tone was still heard: a reading may be there in part.
	FromStart, ToEnd bool
	// DB is the power of the tone's frequency over that of the noise, in dB.
	DB []float64
	// NoiseDB is the noise of the moment over what is usual, in dB, and Wave the tone
	// by amplitude and phase in steps that do not overlap, over the usual noise. Both
	// are nil in strips of version 1.
	NoiseDB []float64
	Wave    []complex128
}

const (
	stripMark = "plbp\x01"
	stripHead = 8
)

// AppendBinary appends the strip's bytes.
func (s Strip) AppendBinary(b []byte) []byte {
	b = append(b, stripMark...)
	if s.NoiseDB != nil {
		b[len(b)-1] = 2
	}
	flags := byte(0)
	if s.FromStart {
		flags |= 1
	}
	if s.ToEnd {
		flags |= 2
	}
	b = binary.LittleEndian.AppendUint16(append(b, flags), uint16(s.PitchHz))
	if s.NoiseDB == nil {
		return appendDecibels(b, s.DB)
	}
	b = appendDecibels(b, s.NoiseDB)
	for _, z := range s.Wave {
		b = append(b, waveByte(real(z)), waveByte(imag(z)))
	}
	return b
}

func appendDecibels(b []byte, course []float64) []byte {
	for _, db := range course {
		b = append(b, byte(min(255, max(0, (db-dbLowest)/dbUnit+0.5))))
	}
	return b
}

// waveMost is the highest value of a wave in a strip; its steps are 0.05 for small
// values and 5 % of large ones.
const waveMost = 1000.0

func waveByte(v float64) byte {
	y := math.Log1p(min(waveMost, math.Abs(v))) / math.Log1p(waveMost)
	return byte(int8(math.Copysign(math.Round(127*y), v)))
}

func waveValue(b byte) float64 {
	y := float64(int8(b)) / 127
	return math.Copysign(math.Expm1(math.Abs(y)*math.Log1p(waveMost)), y)
}

// courseRows is how many steps on both sides make one value of the power.
const courseRows = 2

// course is the power over the noise of the moment, in dB.
func (s *Strip) course() []float64 {
	out := make([]float64, len(s.Wave))
	for i := range out {
		var sum complex128
		noise := 0.0
		for k := max(0, i-courseRows); k <= min(len(out)-1, i+courseRows); k++ {
			sum += s.Wave[k]
			noise += math.Pow(10, s.NoiseDB[k]/10)
		}
		out[i] = max(dbLowest, 10*math.Log10((real(sum)*real(sum)+imag(sum)*imag(sum))/noise+1e-9))
	}
	return out
}

// ParseStrip reads what AppendBinary wrote. It keeps no reference to b.
func ParseStrip(b []byte) (Strip, error) {
	switch {
	case len(b) < stripHead || string(b[:4]) != stripMark[:4]:
		return Strip{}, fmt.Errorf("this is no strip of beeps: it does not begin with %q", stripMark[:4])
	case b[4] != 1 && b[4] != 2:
		return Strip{}, fmt.Errorf("the strip of beeps is of version %d, and 1 and 2 are known", b[4])
	}
	version, body := int(b[4]), b[stripHead:]
	each := 2*version - 1
	n := len(body) / each
	switch {
	case n > maxSteps:
		return Strip{}, fmt.Errorf("the strip of beeps has %d values; %d is the most", n, maxSteps)
	case n*each != len(body):
		return Strip{}, fmt.Errorf("the strip of beeps has %d bytes of values, and they come in threes", len(body))
	}
	s := Strip{PitchHz: int(binary.LittleEndian.Uint16(b[6:])), FromStart: b[5]&1 != 0, ToEnd: b[5]&2 != 0}
	if version == 1 {
		s.DB = decibels(body)
		return s, nil
	}
	s.NoiseDB = decibels(body[:n])
	s.Wave = make([]complex128, n)
	for i := range s.Wave {
		s.Wave[i] = complex(waveValue(body[n+2*i]), waveValue(body[n+2*i+1]))
	}
	s.DB = s.course()
	return s, nil
}

func decibels(b []byte) []float64 {
	out := make([]float64, len(b))
	for i, v := range b {
		out[i] = dbLowest + dbUnit*float64(v)
	}
	return out
}
