package beeps

import (
	"encoding/binary"
	"fmt"
)

// StepMs is how far apart the values of a strip are, in ms.
const StepMs = 10

// MaxSteps bounds a strip: two minutes.
const MaxSteps = 120 * 1000 / StepMs

// dbUnit is the unit of a strip's values in dB.
const dbUnit = 0.5

// dbLowest is the lowest value that a strip holds, in dB.
const dbLowest = -30.0

// Strip is the course of one tone. As bytes it is
//
//	"plbp" | version 1 (u8) | flags (u8) | pitch in Hz (u16, little-endian) | n bytes
//
// where each byte is the tone's power over that of the noise around it, in halves
// of a dB from -30 dB on, every 10 ms.
type Strip struct {
	PitchHz int
	// FromStart and ToEnd say that the strip begins where the listening began, or
	// was cut while the tone was still heard: a reading may be there in part.
	FromStart, ToEnd bool
	// DB is the power of the tone's frequency over that of the noise, in dB.
	DB []float64
}

const (
	stripMark = "plbp\x01"
	stripHead = 8
)

// AppendBinary appends the strip's bytes.
func (s Strip) AppendBinary(b []byte) []byte {
	b = append(b, stripMark...)
	flags := byte(0)
	if s.FromStart {
		flags |= 1
	}
	if s.ToEnd {
		flags |= 2
	}
	b = binary.LittleEndian.AppendUint16(append(b, flags), uint16(s.PitchHz))
	for _, db := range s.DB {
		b = append(b, byte(min(255, max(0, (db-dbLowest)/dbUnit+0.5))))
	}
	return b
}

// ParseStrip reads what AppendBinary wrote. It keeps no reference to b.
func ParseStrip(b []byte) (Strip, error) {
	switch {
	case len(b) < stripHead || string(b[:4]) != stripMark[:4]:
		return Strip{}, fmt.Errorf("this is no strip of beeps: it does not begin with %q", stripMark[:4])
	case b[4] != stripMark[4]:
		return Strip{}, fmt.Errorf("the strip of beeps is of version %d, and 1 is known", b[4])
	case len(b) > stripHead+MaxSteps:
		return Strip{}, fmt.Errorf("the strip of beeps has %d values; %d is the most", len(b)-stripHead, MaxSteps)
	}
	s := Strip{PitchHz: int(binary.LittleEndian.Uint16(b[6:])), FromStart: b[5]&1 != 0, ToEnd: b[5]&2 != 0}
	s.DB = make([]float64, len(b)-stripHead)
	for i, v := range b[stripHead:] {
		s.DB[i] = dbLowest + dbUnit*float64(v)
	}
	return s, nil
}
