package beeps_test

import (
	"fmt"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
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

// readings hears a recording and reads all that was heard, as it would be kept.
func readings(tb testing.TB, m *made) (out []beeps.Reading, strips []hear.Strip) {
	tb.Helper()
	l, err := hear.NewListener(m.rate)
	if err != nil {
		tb.Fatal(err)
	}
	c := codeOf(m.board)
	if err := c.Validate(); err != nil {
		tb.Fatal(err)
	}
	for _, s := range append(l.Push(m.pcm), l.End()...) {
		kept, err := hear.ParseStrip(s.AppendBinary(nil))
		if err != nil {
			tb.Fatal(err)
		}
		out, strips = append(out, beeps.Read(kept, c)), append(strips, kept)
	}
	return out, strips
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

// causes are what may be hard about a recording.
func (m *made) causes() []string {
	whole := m.repeats
	if m.partial {
		whole--
	}
	out := []string{"all", "code " + m.board.name}
	// class names the class that a value is in.
	class := func(v float64, below float64, names ...string) {
		for i, name := range names {
			if v < below || i == len(names)-1 {
				out = append(out, name)
				return
			}
			below *= 2
		}
	}
	class(m.echoDB+40, 13, "echo: none above -27 dB", "echo: -27 to -14 dB", "echo: above -14 dB")
	class(m.windy, 2, "wind: little", "wind: some", "wind: much")
	class(m.voiced, 0.5, "voices: faint", "voices: some", "voices: loud")
	class(m.beepS, 0.08, "beep: under 80 ms", "beep: 80 to 160 ms", "beep: above 160 ms")
	class(m.pitch, 1250, "pitch: under 1.25 kHz", "pitch: 1.25 to 2.5 kHz", "pitch: 2.5 to 5 kHz")
	class(float64(whole), 2.5, "readings: 2 whole", "readings: 3 or 4 whole", "readings: 5 whole")
	for name, is := range map[string]bool{"second sounder": m.second != 0, "clipped": m.clipped, "telephone": m.phone, "MP3": m.lossy,
		"jitter of 20 ms": m.loop > 0.01, "begins within a reading": m.partial} {
		if is {
			out = append(out, name)
		}
	}
	return out
}

// reads is what became of some recordings.
type reads struct {
	all, right, wrong int
	known             int // of which an oracle is sure: see made_bound_test.go
}

// tally reads n scenes on all cores, each at some ratios in dB, and tells what
// became of them by cause.
func tally(tb testing.TB, seed uint64, n int, snr []float64, speech []float64) []map[string]reads {
	tb.Helper()
	say := tb.Logf
	if _, is := tb.(*testing.B); is { // whose log is cut after ten lines
		say = func(format string, args ...any) { fmt.Printf(format+"\n", args...) }
	}
	var mu sync.Mutex
	var wg sync.WaitGroup
	out := make([]map[string]reads, len(snr))
	for k := range out {
		out[k] = map[string]reads{}
	}
	_, noLame := exec.LookPath("lame")
	dir := tb.TempDir()
	workers := runtime.GOMAXPROCS(0)
	for w := range workers {
		wg.Go(func() {
			for i := w; i < n; i += workers {
				s := draw(seed+uint64(i), speech)
				for k, db := range snr {
					m := s.record(db)
					if m.lossy && noLame == nil {
						if err := lossy(filepath.Join(dir, strconv.Itoa(w)), &m); err != nil {
							tb.Error(err)
							return
						}
					}
					all, strips := readings(tb, &m)
					margin, found := m.known(strips)
					v := judge(&m, all)
					mu.Lock()
					for _, c := range m.causes() {
						r := out[k][c]
						r.all++
						if v.right {
							r.right++
						}
						if v.wrong {
							r.wrong++
						}
						if found && margin > oracleSure {
							r.known++
						}
						out[k][c] = r
					}
					if !v.right {
						say("seed %d, %.0f dB: %+v (oracle %.1f) of %s %d at %.0f Hz (another at %.0f Hz), %q", seed+uint64(i), db, v, margin, m.board.name, m.value, m.pitch, m.second, m.causes())
						for _, r := range all {
							say("   %d Hz: %d, sure %v, %d times, margin %.1f, score %.0f of %d beeps, outside %.2f, %s", r.PitchHz, r.Number, r.Sure, r.Repeats, r.Margin, r.Score, len(r.Beeps), r.Outside, r.Why)
						}
					}
					mu.Unlock()
				}
			}
		})
	}
	wg.Wait()
	return out
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
	all := tally(t, 1, 12, []float64{0}, voices(t))[0]["all"]
	if all.wrong > 0 || all.right < 11 {
		t.Errorf("0 dB: %d right, %d wrong of %d; all but one right and none wrong are wanted", all.right, all.wrong, all.all)
	}
}

// An encoder scatters the samples that a recorder clipped. Who then counts them as whole
// misses how faint gusts have made the beeps, and reads 146 for 76, surely.
func TestMadeClippedThenCoded(t *testing.T) {
	for _, tool := range []string{"lame", "espeak-ng"} {
		if _, err := exec.LookPath(tool); err != nil && os.Getenv("PADLARK_CI") == "1" {
			t.Fatal(err)
		} else if err != nil {
			t.Skipf("%s is not installed, which makes the recording", tool)
		}
	}
	const seed = 940595 // a clipped recording at 48 kbit/s in a strong wind
	if v := tally(t, seed, 1, []float64{0}, voices(t))[0]["all"]; v.right != 1 {
		t.Errorf("%d right, %d wrong of %d", v.right, v.wrong, v.all)
	}
}

// BenchmarkMade reads 2,000 made sounders each at 0 and -6 dB (see made_test.go for
// what that means): right_% and wrong_% of them; the others are said to be unsure. It
// prints a table by cause, with the share of which an oracle is sure (see
// made_bound_test.go). PADLARK_SOUNDERS is another number, PADLARK_SEED the first seed
// (1000): it can be run in parts. A scene costs about a second of a processor.
//
//	go test ./decode/beeps -run=NONE -bench=Made -benchtime=1x -timeout 120m
func BenchmarkMade(b *testing.B) {
	number := func(name string, usual int) int {
		if v, err := strconv.Atoi(os.Getenv(name)); err == nil && v > 0 {
			return v
		}
		return usual
	}
	n, seed := number("PADLARK_SOUNDERS", 2000), number("PADLARK_SEED", 1000)
	snr := []float64{0, -6}
	speech := voices(b)
	for b.Loop() {
		for k, table := range tally(b, uint64(seed), n, snr, speech) {
			for _, c := range slices.Sorted(maps.Keys(table)) {
				r := table[c]
				fmt.Printf("%3.0f dB  %-26s %5d, %5d right (%5.1f %%), %d wrong, oracle %5.1f %%\n", snr[k], c, r.all, r.right, 100*float64(r.right)/float64(r.all), r.wrong, 100*float64(r.known)/float64(r.all))
			}
			all, name := table["all"], strings.ReplaceAll(strconv.Itoa(int(snr[k]))+"dB", "-", "minus")
			b.ReportMetric(100*float64(all.right)/float64(n), "right_%_"+name)
			b.ReportMetric(100*float64(all.wrong)/float64(n), "wrong_%_"+name)
			b.ReportMetric(100*float64(n-all.right-all.wrong)/float64(n), "unsure_%_"+name)
		}
	}
	b.ReportMetric(0, "ns/op") // the time of the whole says nothing
}
