package beeps

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// tone is a tone that is on and off for stretches of so many s, in noise.
func toneIn(rate int, hz, noise float64, stretches ...float64) []float64 {
	r := rand.New(rand.NewPCG(1, 2))
	var out []float64
	for k, s := range stretches {
		for range int(s * float64(rate)) {
			v := noise * r.NormFloat64()
			if k%2 == 1 {
				v += 0.3 * math.Sin(2*math.Pi*hz*float64(len(out))/float64(rate))
			}
			out = append(out, v)
		}
	}
	return out
}

// A tone is found by its frequency, at any rate, and its course rises and falls when
// it does: within the 60 ms of a window.
func TestListener(t *testing.T) {
	for _, c := range []struct {
		rate int
		hz   float64
	}{{8000, 1000}, {16000, 2731}, {44100, 4800}, {48000, 523}, {96000, 5990}} {
		l, err := NewListener(c.rate)
		if err != nil {
			t.Fatal(err)
		}
		on := []float64{1.0, 0.5, 0.7, 0.2, 1.5, 0.4, 1}
		got := append(l.Push(toneIn(c.rate, c.hz, 0.05, on...)), l.End()...)
		if len(got) != 1 {
			t.Fatalf("%d Hz: %d strips, want 1", c.rate, len(got))
		}
		s := got[0]
		if math.Abs(float64(s.PitchHz)-c.hz) > 5 {
			t.Errorf("%d Hz: pitch %d Hz, want %g", c.rate, s.PitchHz, c.hz)
		}
		at, sounds := 0.0, false
		for i, length := range on {
			mid := int((at + length/2) * 1000 / StepMs)
			if i > 0 && i < len(on)-1 {
				sounds = i%2 == 1
				if loud := s.DB[mid] > 6; loud != sounds {
					t.Errorf("%d Hz: %.1f dB at %.2f s, tone %v", c.rate, s.DB[mid], at+length/2, sounds)
				}
			}
			at += length
		}
	}
}

// An hour of sound at 48 kHz goes through in bounded memory: what is held does not
// grow once the listener's minute and a half is full. Here it is 5 minutes of it, in
// which a strip is cut where it is full.
func TestListenerIsBounded(t *testing.T) {
	const rate = 8000
	l, err := NewListener(rate)
	if err != nil {
		t.Fatal(err)
	}
	minute := toneIn(rate, 2000, 0.05, func() []float64 {
		var s []float64
		for range 60 {
			s = append(s, 0.5, 0.5)
		}
		return s
	}()...)
	strips, most := 0, 0
	for m := range 5 {
		for _, s := range l.Push(minute) {
			strips++
			if len(s.DB) > maxSteps {
				t.Errorf("a strip of %d steps, at most %d wanted", len(s.DB), maxSteps)
			}
		}
		if m == 2 {
			most = l.Held()
		}
	}
	if l.Held() > most {
		t.Errorf("holds %d bytes after 5 minutes, %d after 3", l.Held(), most)
	}
	if strips < 2 {
		t.Errorf("%d strips of a tone that never ends in 5 minutes, want it to be cut", strips)
	}
}

// Noise alone is no tone.
func TestNoiseIsNoTone(t *testing.T) {
	l, err := NewListener(16000)
	if err != nil {
		t.Fatal(err)
	}
	if got := append(l.Push(toneIn(16000, 0, 0.1, 40)), l.End()...); len(got) != 0 {
		t.Errorf("%d tones in noise, first at %d Hz", len(got), got[0].PitchHz)
	}
}

func TestStripRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Strip{PitchHz: rapid.IntRange(0, 65535).Draw(t, "pitch"), FromStart: rapid.Bool().Draw(t, "from start"), ToEnd: rapid.Bool().Draw(t, "to end"),
			DB: []float64{}}
		for _, v := range rapid.SliceOfN(rapid.IntRange(0, 255), 0, 300).Draw(t, "values") {
			s.DB = append(s.DB, dbLowest+dbUnit*float64(v))
		}
		if rapid.Bool().Draw(t, "with its wave") {
			s.NoiseDB, s.Wave = s.DB, []complex128{}
			for range s.DB {
				value := rapid.IntRange(-127, 127)
				s.Wave = append(s.Wave, complex(waveValue(byte(value.Draw(t, "in phase"))), waveValue(byte(value.Draw(t, "behind")))))
			}
			s.DB = s.course()
		}
		got, err := ParseStrip(s.AppendBinary(nil))
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(s, got); d != "" {
			t.Fatalf("-want +got\n%s", d)
		}
	})
}

// wav is a WAV file as its specification has it (Multimedia Programming Interface and
// Data Specifications 1.0, 1991, chapter 3, from memory), with a chunk that means
// nothing here.
func wav(tag, channels, rate, bits int, data []byte) []byte {
	var b bytes.Buffer
	put := func(v any) {
		if err := binary.Write(&b, binary.LittleEndian, v); err != nil {
			panic(err)
		}
	}
	b.WriteString("RIFF")
	put(uint32(36 + 12 + len(data)))
	b.WriteString("WAVELIST")
	put(uint32(3))
	b.WriteString("abc\x00fmt ")
	put(uint32(16))
	put(uint16(tag))
	put(uint16(channels))
	put(uint32(rate))
	put(uint32(rate * channels * bits / 8))
	put(uint16(channels * bits / 8))
	put(uint16(bits))
	b.WriteString("data")
	put(uint32(len(data)))
	b.Write(data)
	return b.Bytes()
}

func TestPCM(t *testing.T) {
	float := binary.LittleEndian.AppendUint32(nil, math.Float32bits(-0.25))
	for _, c := range []struct {
		name string
		in   []byte
		want []float64
		rate int
	}{
		{"8 bits are unsigned", wav(1, 1, 8000, 8, []byte{128, 0, 192}), []float64{0, -1, 0.5}, 8000},
		{"16 bits", wav(1, 1, 44100, 16, []byte{0, 0x40, 0, 0x80}), []float64{0.5, -1}, 44100},
		{"24 bits", wav(1, 1, 48000, 24, []byte{0, 0, 0x40}), []float64{0.5}, 48000},
		{"32 bits", wav(1, 1, 48000, 32, []byte{0, 0, 0, 0xe0}), []float64{-0.25}, 48000},
		{"floating point", wav(3, 1, 48000, 32, float), []float64{-0.25}, 48000},
		{"the mean of two channels", wav(1, 2, 16000, 16, []byte{0, 0x40, 0, 0}), []float64{0.25}, 16000},
		{"what stands behind the samples is none", append(wav(1, 1, 8000, 16, []byte{0, 0x40}), "LIST"...), []float64{0.5}, 8000},
		{"without a header", []byte{0, 0x40, 0, 0xc0, 0, 0}, []float64{0.5, -0.5, 0}, 22050},
		{"our own", WriteWAV([]float64{0, 1, -1}, 8000), []float64{0, 32767.0 / 32768, -32767.0 / 32768}, 8000},
	} {
		for _, piece := range []int{1, 3, len(c.in)} {
			p, err := NewPCM(Format{Rate: 22050, Channels: 1, Bits: 16})
			if err != nil {
				t.Fatal(err)
			}
			var got []float64
			for b := c.in; len(b) > 0; b = b[min(piece, len(b)):] {
				s, err := p.Push(b[:min(piece, len(b))])
				if err != nil {
					t.Fatalf("%s: %v", c.name, err)
				}
				got = append(got, s...)
			}
			if d := cmp.Diff(c.want, got); d != "" || p.Format().Rate != c.rate {
				t.Errorf("%s, in pieces of %d: rate %d, -want +got\n%s", c.name, piece, p.Format().Rate, d)
			}
		}
	}
}

func TestPCMRefuses(t *testing.T) {
	for _, c := range []struct {
		in   []byte
		want string
	}{
		{[]byte("RIFF\x00\x00\x00\x00AVI LIST"), "not WAVE"},
		{wav(7, 1, 8000, 8, []byte{1}), "of the kind 7"},
		{wav(1, 1, 100, 16, []byte{1, 2}), "rate of 100"},
		{wav(1, 0, 8000, 16, []byte{1, 2}), "0 channels"},
		{append([]byte("RIFF\x00\x00\x00\x00WAVEdata"), 2, 0, 0, 0, 1, 2), "before it says how"},
		{append([]byte("RIFF\x00\x00\x00\x00WAVEjunk"), 0, 0, 0, 0x40), "bytes before the samples"},
	} {
		p, err := NewPCM(Format{Rate: 8000, Channels: 1, Bits: 16})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := p.Push(c.in); !errors.Is(err, ErrSound) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v, want %q", c.in, err, c.want)
		}
	}
}

// FuzzSound: whatever the bytes, listening ends, in bounded memory, and every strip
// can be read back.
func FuzzSound(f *testing.F) {
	f.Add(WriteWAV(toneIn(8000, 1500, 0.05, 0.5, 0.3, 0.3, 0.3, 0.2), 8000), 1000)
	f.Add(wav(3, 2, 48000, 32, make([]byte, 64)), 7)
	f.Add([]byte("RIFF\x00\x00\x00\x00WAVEfmt "), 4)
	f.Fuzz(func(t *testing.T, b []byte, piece int) {
		b = b[:min(len(b), 40000)] // longer sound only takes longer
		p, err := NewPCM(Format{Rate: 8000, Channels: 1, Bits: 16})
		if err != nil {
			t.Fatal(err)
		}
		piece = max(1, piece%4096)
		var l *Listener
		var strips []Strip
		for len(b) > 0 {
			n := min(piece, len(b))
			s, err := p.Push(b[:n])
			b = b[n:]
			if err != nil {
				if !errors.Is(err, ErrSound) {
					t.Fatalf("error %v is none of sound", err)
				}
				return
			}
			for _, v := range s {
				if math.IsNaN(v) || math.Abs(v) > 8 {
					t.Fatalf("sample %v", v)
				}
			}
			if l == nil && len(s) > 0 {
				if l, err = NewListener(p.Format().Rate); err != nil {
					t.Fatal(err)
				}
			}
			if l != nil {
				strips = append(strips, l.Push(s)...)
			}
		}
		if l != nil {
			strips = append(strips, l.End()...)
		}
		for _, s := range strips {
			if _, err := ParseStrip(s.AppendBinary(nil)); err != nil {
				t.Fatal(err)
			}
		}
	})
}
