package beeps_test

import (
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"

	"padlark/decode/beeps"
	hear "padlark/ingest/beeps"
)

// codeOf is the configuration for a kind of board: what its builder would write.
func codeOf(b board) beeps.Code {
	c := beeps.Code{BeepMs: 1000 * b.short, PauseMs: 1000 * b.inner, DigitPauseMs: 1000 * b.group, NumberPauseMs: 1000 * b.number}
	if b.long > 0 {
		c.LongMs = 1000 * b.long
	}
	if b.lead > 0 {
		c.Lead, c.LeadMs, c.LeadPauseMs = true, 1000*b.lead, 1000*b.leadGap
	}
	switch {
	case b.marks:
		c.Style, c.Long, c.Short = "marks", 10, 1
	case b.longZero:
		c.Zero = "long"
	}
	return c
}

// readings hears a recording and reads all that was heard.
func readings(tb testing.TB, m *made) []beeps.Reading {
	tb.Helper()
	l, err := hear.NewListener(m.rate)
	if err != nil {
		tb.Fatal(err)
	}
	c := codeOf(m.board)
	if err := c.Validate(); err != nil {
		tb.Fatal(err)
	}
	var out []beeps.Reading
	for _, s := range append(l.Push(m.pcm), l.End()...) {
		out = append(out, beeps.Read(s, c))
	}
	return out
}

// verdict is how a recording was read: right (one sure reading at the pitch, of the
// true number), wrong (a sure reading of another number anywhere but at the second
// sounder's pitch), or unsure.
type verdict struct{ right, wrong bool }

func judge(m *made, all []beeps.Reading) verdict {
	var v verdict
	for _, r := range all {
		ours := math.Abs(float64(r.PitchHz)-m.pitch) < 50
		if !r.Sure || !ours && m.second != 0 && math.Abs(float64(r.PitchHz)-m.second) < 50 {
			continue
		}
		if r.Number == m.value {
			v.right = true
		} else {
			v.wrong = true
		}
	}
	v.right = v.right && !v.wrong
	return v
}

// tally reads n recordings on all cores.
func tally(tb testing.TB, seed uint64, n int, snr float64, speech []float64) (right, wrong, unsure int) {
	tb.Helper()
	var mu sync.Mutex
	var wg sync.WaitGroup
	_, noLame := exec.LookPath("lame")
	dir := tb.TempDir()
	workers := runtime.GOMAXPROCS(0)
	for w := range workers {
		wg.Go(func() {
			for i := w; i < n; i += workers {
				m := draw(seed+uint64(i), snr, speech)
				if m.lossy && noLame == nil {
					if err := lossy(filepath.Join(dir, strconv.Itoa(w)), &m); err != nil {
						tb.Error(err)
						return
					}
				}
				all := readings(tb, &m)
				v := judge(&m, all)
				mu.Lock()
				switch {
				case v.wrong:
					wrong++
				case v.right:
					right++
				default:
					unsure++
				}
				if !v.right {
					tb.Logf("seed %d, %.0f dB: %+v of %s %d at %.0f Hz (another at %.0f Hz), phone %v, begins within %v, MP3 %v, %d Hz", seed+uint64(i), snr, v, m.board.name,
						m.value, m.pitch, m.second, m.phone, m.partial, m.lossy, m.rate)
					for _, r := range all {
						tb.Logf("   %d Hz: %d, sure %v, %d times, margin %.1f, score %.0f, outside %.2f, %s", r.PitchHz, r.Number, r.Sure, r.Repeats, r.Margin, r.Score, r.Outside, r.Why)
					}
				}
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	return right, wrong, unsure
}

// lossy sends a recording through an MP3 encoder at 32 to 64 kbit/s.
func lossy(base string, m *made) error {
	if err := os.WriteFile(base+".wav", hear.WriteWAV(m.pcm, m.rate), 0o600); err != nil {
		return err
	}
	rate := []string{"32", "48", "64"}[m.value%3]
	if err := exec.Command("lame", "--quiet", "-b", rate, base+".wav", base+".mp3").Run(); err != nil {
		return err
	}
	if err := exec.Command("lame", "--quiet", "--decode", base+".mp3", base+".wav").Run(); err != nil {
		return err
	}
	pcm, rate2, err := samplesOf(base + ".wav")
	m.pcm, m.rate = pcm, rate2
	return err
}

func samplesOf(path string) ([]float64, int, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, 0, err
	}
	p, err := hear.NewPCM(hear.Format{Rate: 16000, Channels: 1, Bits: 16})
	if err != nil {
		return nil, 0, err
	}
	s, err := p.Push(b)
	return append([]float64(nil), s...), p.Format().Rate, err
}

// voices speaks with espeak-ng, at 16 kHz; nil where it is not installed.
func voices(tb testing.TB) []float64 {
	tb.Helper()
	if _, err := exec.LookPath("espeak-ng"); err != nil {
		return nil
	}
	text := "The rocket is down over there behind the trees. Who has got the pump? Three, two, one, launch! " +
		"No, wait, I can hear it beeping. Was that four or five? Please be quiet for a moment. The next one is ready on the pad."
	path := filepath.Join(tb.TempDir(), "voices.wav")
	if out, err := exec.Command("espeak-ng", "-w", path, text).CombinedOutput(); err != nil {
		tb.Fatalf("espeak-ng: %v: %s", err, out)
	}
	s, rate, err := samplesOf(path)
	if err != nil {
		tb.Fatal(err)
	}
	out := make([]float64, len(s)*16000/rate)
	for i := range out {
		out[i] = s[i*rate/16000]
	}
	return out
}

// TestMade: sounders in noise are read, and what is not read is said to be unsure.
// A few; BenchmarkMade has the numbers.
func TestMade(t *testing.T) {
	speech := voices(t)
	if right, wrong, unsure := tally(t, 1, 16, 0, speech); wrong > 0 || right < 15 {
		t.Errorf("0 dB: %d right, %d wrong, %d unsure of 16; at least 15 right and none wrong are wanted", right, wrong, unsure)
	}
}

// BenchmarkMade reads 2,000 made sounders each at 0 and -6 dB (see made_test.go for
// what that means): right_% and wrong_% of them; the others are said to be unsure.
// PADLARK_SOUNDERS is another number: each takes a second or two.
//
//	go test ./decode/beeps -run=NONE -bench=Made -benchtime=1x -timeout 60m
func BenchmarkMade(b *testing.B) {
	n := 2000
	if v, err := strconv.Atoi(os.Getenv("PADLARK_SOUNDERS")); err == nil && v > 0 {
		n = v
	}
	speech := voices(b)
	for b.Loop() {
		for _, snr := range []float64{0, -6} {
			right, wrong, unsure := tally(b, 1000, n, snr, speech)
			name := strings.ReplaceAll(strconv.Itoa(int(snr))+"dB", "-", "minus")
			b.ReportMetric(100*float64(right)/float64(n), "right_%_"+name)
			b.ReportMetric(100*float64(wrong)/float64(n), "wrong_%_"+name)
			b.ReportMetric(100*float64(unsure)/float64(n), "unsure_%_"+name)
		}
	}
	b.ReportMetric(0, "ns/op") // the time of the whole says nothing
}

// The two examples of the documentation, and marks: what Sound beeps is read back,
// whatever the number.
func TestSoundIsRead(t *testing.T) {
	for _, c := range []struct {
		name    string
		code    beeps.Code
		numbers []int
	}{
		{"zero as ten", beeps.Code{}, []int{0, 7, 10, 90, 123, 508}},
		{"a long zero and a lead", beeps.Code{Zero: "long", Lead: true}, []int{0, 5, 100, 1203}},
		{"three digits always", beeps.Code{Digits: 3, Zero: "long"}, []int{7, 45, 300}},
		{"marks", beeps.Code{Style: "marks", Long: 100, Short: 10}, []int{10, 90, 100, 340}},
	} {
		for _, n := range c.numbers {
			samples, err := beeps.Sound(c.code, n, 2700, 16000)
			if err != nil {
				t.Fatalf("%s: %v", c.name, err)
			}
			l, err := hear.NewListener(16000)
			if err != nil {
				t.Fatal(err)
			}
			strips := append(l.Push(samples), l.End()...)
			if len(strips) != 1 {
				t.Fatalf("%s: %d: %d strips, want 1", c.name, n, len(strips))
			}
			if r := beeps.Read(strips[0], c.code); !r.Sure || r.Number != n || r.Repeats != 3 {
				t.Errorf("%s: %d read as %d, %d times, sure %v: %s; margin %.1f", c.name, n, r.Number, r.Repeats, r.Sure, r.Why, r.Margin)
			}
		}
	}
}

func TestCodeErrors(t *testing.T) {
	for _, c := range []struct {
		code beeps.Code
		want string
	}{
		{beeps.Code{Style: "morse"}, "style"},
		{beeps.Code{Zero: "none"}, "zero"},
		{beeps.Code{Digits: 9}, "digits"},
		{beeps.Code{Most: -1}, "most"},
		{beeps.Code{Step: -1}, "step"},
		{beeps.Code{Long: 100}, "long"},
		{beeps.Code{Style: "marks", Long: 100, Short: 7}, "long"},
		{beeps.Code{Style: "marks", Digits: 3}, "digits"},
		{beeps.Code{Unit: "yd"}, "unit"},
		{beeps.Code{Temperature: "cold"}, "temperature"},
		{beeps.Code{LowHz: 3000, HighHz: 2000}, "low_hz"},
		{beeps.Code{BeepMs: 10}, "beep_ms"},
		{beeps.Code{BeepMs: math.NaN()}, "beep_ms"},
		{beeps.Code{DigitPauseMs: 150}, "digit_pause_ms"},
		{beeps.Code{Lead: true, Zero: "long", LeadMs: 500}, "lead_ms"},
	} {
		if err := c.code.Validate(); err == nil || !strings.HasPrefix(err.Error(), c.want+": ") {
			t.Errorf("%+v: %v, want an error of %s", c.code, err, c.want)
		}
	}
}

// FuzzRead: whatever a strip holds, reading ends, and what is sure is a number of the
// code whose beeps stand in the strip in their order.
func FuzzRead(f *testing.F) {
	for _, n := range []int{7, 123} {
		samples, err := beeps.Sound(beeps.Code{}, n, 2700, 8000)
		if err != nil {
			f.Fatal(err)
		}
		l, err := hear.NewListener(8000)
		if err != nil {
			f.Fatal(err)
		}
		for _, s := range append(l.Push(samples), l.End()...) {
			f.Add(s.AppendBinary(nil), uint8(0))
		}
	}
	codes := []beeps.Code{{}, {Zero: "long", Lead: true}, {Style: "marks"}, {Digits: 3}}
	f.Fuzz(func(t *testing.T, b []byte, which uint8) {
		if len(b) > 1500 {
			b = b[:1500] // 15 s: a long strip only takes longer
		}
		s, err := hear.ParseStrip(b)
		if err != nil {
			return
		}
		r := beeps.Read(s, codes[int(which)%len(codes)])
		if r.Sure && (!r.Found || r.Repeats < 1) || !r.Sure && r.Why == "" {
			t.Fatalf("%+v", r)
		}
		last := 0
		for _, beep := range r.Beeps {
			if beep.From < last || beep.To <= beep.From || beep.To > len(s.DB) {
				t.Fatalf("beep %+v after %d in %d steps", beep, last, len(s.DB))
			}
			last = beep.To
		}
	})
}
