package beeps

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
)

// Format is how sound is written in bytes: linear samples, little-endian, the
// channels one after the other.
type Format struct {
	Rate     int // samples a second
	Channels int
	Bits     int // of a sample: 8 (unsigned), 16, 24 or 32
	Float    bool
}

// Validate says what is wrong with it.
func (f Format) Validate() error {
	switch {
	case f.Rate < minRate || f.Rate > maxRate:
		return fmt.Errorf("a rate of %d samples a second is out of range: %d to %d can be listened to", f.Rate, minRate, maxRate)
	case f.Channels < 1 || f.Channels > 32:
		return fmt.Errorf("%d channels are out of range: 1 to 32", f.Channels)
	case f.Float && f.Bits != 32, f.Bits != 8 && f.Bits != 16 && f.Bits != 24 && f.Bits != 32:
		return fmt.Errorf("samples of %d bits are not known: 8, 16, 24 or 32, or floating point of 32", f.Bits)
	}
	return nil
}

// ErrSound is wrapped by every error about bytes that are no sound.
var ErrSound = errors.New("this is no sound that can be listened to")

// headMost bounds what stands before the samples of a WAV file, in bytes.
const headMost = 1 << 20

// PCM turns bytes into samples, the mean of all channels. A stream that begins
// with a WAV header (RIFF, Multimedia Programming Interface and Data Specifications
// 1.0, 1991, from memory) says by itself how it is written; its length is not
// believed where a program wrote it before it knew it. It is not safe for concurrent
// use.
type PCM struct {
	format Format
	state  pcmState
	head   []byte // of the header, or a sample that is not whole yet
	left   int64  // bytes of the samples to come; -1 until the stream's end
	out    []float64
}

type pcmState uint8

const (
	pcmBegin pcmState = iota
	pcmHeader
	pcmSamples
	pcmAfter
)

// NewPCM reads samples of a format, unless the stream is a WAV.
func NewPCM(f Format) (*PCM, error) {
	if err := f.Validate(); err != nil {
		return nil, err
	}
	return &PCM{format: f, left: -1}, nil
}

// Format is that of the stream, known for certain once Push has given samples.
func (p *PCM) Format() Format { return p.format }

// Push takes the next bytes and gives the samples in them, full scale 1, which are
// valid until the next call. The error wraps ErrSound; then the stream is of no use.
func (p *PCM) Push(b []byte) ([]float64, error) {
	p.out = p.out[:0]
	if p.state == pcmBegin {
		n := min(len(b), 4-len(p.head))
		p.head = append(p.head, b[:n]...)
		b = b[n:]
	}
	err := p.push(b)
	return p.out, err
}

func (p *PCM) push(b []byte) error {
	if p.state == pcmBegin {
		if len(p.head) < 4 {
			return nil
		}
		first := p.head
		p.head = nil
		p.state = pcmSamples
		if string(first) == "RIFF" {
			p.state = pcmHeader
			p.head = append(p.head, first...)
		} else {
			p.samples(first)
		}
	}
	if p.state == pcmHeader {
		room := headMost - len(p.head)
		if room <= 0 {
			return fmt.Errorf("%w: the WAV header has more than %d bytes before the samples", ErrSound, headMost)
		}
		take := min(room, len(b))
		p.head = append(p.head, b[:take]...)
		at, err := p.header()
		if err != nil || at == 0 {
			return err
		}
		rest := append(append([]byte(nil), p.head[at:]...), b[take:]...)
		p.head, p.state = nil, pcmSamples
		b = rest
	}
	if p.state == pcmSamples {
		p.samples(b)
	}
	return nil
}

// header reads a WAV header as far as it is there. at is where the samples begin, 0
// if that is not known yet.
func (p *PCM) header() (at int, err error) {
	h := p.head
	if len(h) < 12 {
		return 0, nil
	}
	if string(h[8:12]) != "WAVE" {
		return 0, fmt.Errorf("%w: the RIFF file holds %q, not WAVE", ErrSound, h[8:12])
	}
	known := false
	for at = 12; at+8 <= len(h); {
		size := int64(binary.LittleEndian.Uint32(h[at+4:]))
		body := at + 8
		switch string(h[at : at+4]) {
		case "fmt ":
			if int64(len(h)-body) < size {
				return 0, nil
			}
			if err := p.wavFormat(h[body : body+int(size)]); err != nil {
				return 0, err
			}
			known = true
		case "data":
			if !known {
				return 0, fmt.Errorf("%w: the WAV file has samples before it says how they are written", ErrSound)
			}
			p.left = size
			if size == 0 || size >= 0x7ffff000 {
				p.left = -1 // written before the length was known
			}
			return body, nil
		}
		next := int64(body) + size + size&1
		if next > headMost {
			return 0, fmt.Errorf("%w: the WAV header has more than %d bytes before the samples", ErrSound, headMost)
		}
		at = int(next)
	}
	return 0, nil
}

// wavFormat reads the chunk that says how the samples are written.
func (p *PCM) wavFormat(b []byte) error {
	if len(b) < 16 {
		return fmt.Errorf("%w: the WAV file's fmt chunk has %d bytes, 16 are the least", ErrSound, len(b))
	}
	tag := binary.LittleEndian.Uint16(b)
	if tag == 0xfffe && len(b) >= 26 { // extensible: the tag begins the GUID
		tag = binary.LittleEndian.Uint16(b[24:])
	}
	f := Format{Channels: int(binary.LittleEndian.Uint16(b[2:])), Rate: int(min(1<<30, binary.LittleEndian.Uint32(b[4:]))),
		Bits: int(binary.LittleEndian.Uint16(b[14:])), Float: tag == 3}
	if tag != 1 && tag != 3 {
		return fmt.Errorf("%w: the WAV file's samples are of the kind %d, and 1 (linear) and 3 (floating point) are known; convert it, as with: sox in.wav -b 16 -e signed out.wav", ErrSound, tag)
	}
	if err := f.Validate(); err != nil {
		return fmt.Errorf("%w: %w", ErrSound, err)
	}
	p.format = f
	return nil
}

// samples reads whole samples and keeps the rest.
func (p *PCM) samples(b []byte) {
	if p.left >= 0 {
		n := min(int64(len(b)), p.left)
		b, p.left = b[:n], p.left-n
	}
	width := p.format.Bits / 8
	frame := width * p.format.Channels
	if len(p.head) > 0 {
		n := min(len(b), frame-len(p.head))
		p.head = append(p.head, b[:n]...)
		b = b[n:]
		if len(p.head) < frame {
			return
		}
		p.out = append(p.out, p.mean(p.head, width))
		p.head = p.head[:0]
	}
	for ; len(b) >= frame; b = b[frame:] {
		p.out = append(p.out, p.mean(b[:frame], width))
	}
	p.head = append(p.head[:0], b...)
	if p.left == 0 {
		p.state = pcmAfter
	}
}

// mean is that of the channels of one moment.
func (p *PCM) mean(b []byte, width int) float64 {
	sum := 0.0
	for at := 0; at < len(b); at += width {
		sum += p.value(b[at : at+width])
	}
	if m := sum / float64(p.format.Channels); m >= -8 && m <= 8 {
		return m
	}
	return 0 // floating point holds anything
}

func (p *PCM) value(b []byte) float64 {
	switch {
	case p.format.Float:
		return float64(math.Float32frombits(binary.LittleEndian.Uint32(b)))
	case len(b) == 1:
		return (float64(b[0]) - 128) / 128
	case len(b) == 2:
		return float64(int16(binary.LittleEndian.Uint16(b))) / (1 << 15)
	case len(b) == 3:
		return float64(int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24)) / (1 << 31)
	}
	return float64(int32(binary.LittleEndian.Uint32(b))) / (1 << 31)
}

// WriteWAV is a whole WAV file of one channel and 16 bits.
func WriteWAV(samples []float64, rate int) []byte {
	size := 2 * len(samples)
	b := make([]byte, 0, 44+size)
	b = append(b, "RIFF"...)
	b = binary.LittleEndian.AppendUint32(b, uint32(36+size))
	b = append(b, "WAVEfmt "...)
	b = binary.LittleEndian.AppendUint32(b, 16)
	b = binary.LittleEndian.AppendUint16(b, 1)
	b = binary.LittleEndian.AppendUint16(b, 1)
	b = binary.LittleEndian.AppendUint32(b, uint32(rate))
	b = binary.LittleEndian.AppendUint32(b, uint32(2*rate))
	b = binary.LittleEndian.AppendUint16(b, 2)
	b = binary.LittleEndian.AppendUint16(b, 16)
	b = append(b, "data"...)
	b = binary.LittleEndian.AppendUint32(b, uint32(size))
	for _, v := range samples {
		b = binary.LittleEndian.AppendUint16(b, uint16(int16(math.Round(32767*max(-1, min(1, v))))))
	}
	return b
}
