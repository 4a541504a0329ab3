package decode

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"padlark/ingest"
)

// board is a simulated board: it knows its boot, counts and clock.
type board struct {
	p      *Program
	rocket uint32
	boot   uint32
	seq    int64
	start  time.Duration // when it was switched on
	skew   float64
}

// say is the frame that the board sends at a moment, heard after a delay.
func (b *board) say(t testing.TB, link string, n int, at, delay time.Duration) ingest.Frame {
	t.Helper()
	clock := float64((at - b.start).Microseconds()) * (1 + b.skew)
	bytes, err := b.p.Encode(nil, Message{Rocket: b.rocket, Boot: b.boot, Seq: b.seq, Clock: int64(clock), Values: map[string]float64{
		PressurePa: 100000, TemperatureC: 20, CellV: 4, ReleaseUs: 1100,
	}})
	if err != nil {
		t.Fatal(err)
	}
	b.seq++
	return frame(link, n, at+delay, bytes)
}

func (b *board) restart(at time.Duration) {
	b.boot, b.seq, b.start = b.boot+1, 0, at
}

// shortLayout has every counter as short as boards have them, and no boot.
const shortLayout = `
[[layout]]
name = "short"
framing = "cobs"
form = "binary"
checksum = "CRC-8/SMBUS"
fields = [
  { name = "rocket", type = "u8" },
  { name = "seq", type = "u8" },
  { name = "clock", type = "u16", unit = "ms" },
]
[[layout]]
name = "csv"
framing = "line"
form = "delimited"
fields = [ { name = "seq" }, { name = "clock", unit = "ms" }, { name = "pressure_pa", unit = "hPa", decimals = 2 } ]
[[layout]]
name = "seq-only"
framing = "cobs"
form = "binary"
checksum = "sum8"
fields = [ { name = "rocket", type = "u8" }, { name = "seq", type = "u16" } ]
`

func compileNamed(t testing.TB, text, name string) *Program {
	t.Helper()
	ls := layouts(t, text)
	for _, l := range ls {
		if l.Name == name {
			p, err := Compile(l, ls)
			if err != nil {
				t.Fatal(err)
			}
			return p
		}
	}
	t.Fatalf("no layout %s", name)
	return nil
}

// TestUnwrap follows counters of 8 and 16 bits over many turns, with a third
// of the frames lost and silences longer than several turns of the sequence.
func TestUnwrap(t *testing.T) {
	d := station(t, shortLayout, "short")
	b := &board{p: compileNamed(t, shortLayout, "short"), rocket: 7, skew: 300e-6}
	r := rand.New(rand.NewPCG(3, 4))
	heard, m := 0, NewMerger()
	for i := range 20 * 600 {
		at := time.Duration(i) * 50 * time.Millisecond
		want := b.seq
		f := b.say(t, "pad", i, at, time.Duration(r.Float64()*50)*time.Millisecond)
		silent := at > 100*time.Second && at < 145*time.Second || at > 200*time.Second && at < 500*time.Second
		if r.Float64() < 0.3 || silent {
			continue
		}
		s, err := d.Decode(f)
		if err != nil {
			t.Fatal(err)
		}
		m.Add(s)
		heard++
		clock := float64(at.Microseconds()) * (1 + b.skew)
		if s.Seq != want || s.Boot != 1 || math.Abs(float64(s.Clock)-clock) > 1000 {
			t.Fatalf("at %v: boot %d seq %d clock %d us, want seq %d", at, s.Boot, s.Seq, s.Clock, want)
		}
	}
	l := m.Counts()[0]
	if int(l.Heard) != heard || int64(l.Lost) > b.seq-int64(heard) || int64(l.Lost) < b.seq-int64(heard)-20 {
		t.Errorf("%+v, want heard %d, lost about %d", l, heard, b.seq-int64(heard))
	}
}

// TestReboots goes through the ways in which a board starts anew.
func TestReboots(t *testing.T) {
	for _, layout := range []string{"lark-bin", "lark-text", "short"} {
		text := ""
		p := (*Program)(nil)
		if layout == "short" {
			text, p = shortLayout, compileNamed(t, shortLayout, layout)
		} else {
			p = builtin(t, layout)
		}
		for _, c := range []struct {
			name            string
			uptime, silence time.Duration
		}{
			{"after a minute", time.Minute, 300 * time.Millisecond},
			{"again and again, every 1.5 s", 1500 * time.Millisecond, 200 * time.Millisecond},
			{"while out of hearing", 20 * time.Second, 15 * time.Second},
			{"after ten minutes", 10 * time.Minute, 2 * time.Second},
		} {
			d := station(t, text, layout)
			b := &board{p: p, rocket: 7, boot: 1}
			at := time.Duration(0)
			var last Sample
			for boot := range 4 {
				for end := at + c.uptime; at < end; at += 100 * time.Millisecond {
					s, err := d.Decode(b.say(t, "pad", 1, at, 0))
					if err != nil {
						t.Fatalf("%s, %s: %v", layout, c.name, err)
					}
					if s.Boot != uint32(boot+1) || s.Seq != b.seq-1 {
						t.Fatalf("%s, %s: boot %d seq %d at %v, want boot %d seq %d", layout, c.name, s.Boot, s.Seq, at, boot+1, b.seq-1)
					}
					if boot+1 == int(last.Boot) && !s.At.After(last.At) {
						t.Fatalf("%s, %s: at falls back", layout, c.name)
					}
					last = s
				}
				at += c.silence
				b.restart(at - 100*time.Millisecond)
			}
		}
	}
}

// TestRebootOutOfHearing: a board that restarted while out of hearing, and whose
// clock is past the old one when it is heard again, was restarted all the same:
// its clock is well behind what it should be.
func TestRebootOutOfHearing(t *testing.T) {
	d := station(t, shortLayout, "short")
	b := &board{p: compileNamed(t, shortLayout, "short"), rocket: 7}
	for i := range 100 { // heard for 5 s
		if _, err := d.Decode(b.say(t, "pad", i, time.Duration(i)*50*time.Millisecond, 0)); err != nil {
			t.Fatal(err)
		}
	}
	b.restart(12 * time.Second)
	for at := 12 * time.Second; at < 40*time.Second; at += 50 * time.Millisecond {
		b.say(t, "pad", 1, at, 0)
	}
	s, err := d.Decode(b.say(t, "pad", 101, 40*time.Second, 0))
	if err != nil || s.Boot != 2 || s.Clock != 28e6 {
		t.Errorf("boot %d clock %d us, %v; want boot 2 at 28 s", s.Boot, s.Clock, err)
	}
}

// TestConstantBootCounter shows that a counter which the board does not keep
// does not hide a restart.
func TestConstantBootCounter(t *testing.T) {
	d := station(t, "", "lark-bin")
	b := &board{p: builtin(t, "lark-bin"), rocket: 7, boot: 5}
	for i := range 100 {
		at := time.Duration(i) * 100 * time.Millisecond
		if i == 50 {
			b.restart(at)
			b.boot = 5
		}
		s, err := d.Decode(b.say(t, "pad", i, at, 0))
		if want := uint32(5 + i/50); err != nil || s.Boot != want {
			t.Fatalf("frame %d: boot %d, %v; want %d", i, s.Boot, err, want)
		}
	}
}

// TestHeldBack shows that a link which stalls and then delivers everything at
// once is no reboot, and loses no place in the sequence.
func TestHeldBack(t *testing.T) {
	d := station(t, shortLayout, "short")
	b := &board{p: compileNamed(t, shortLayout, "short"), rocket: 7}
	for i := range 1200 {
		at := time.Duration(i) * 50 * time.Millisecond
		delay := time.Duration(0)
		for _, stall := range []time.Duration{2 * time.Second, 30 * time.Second} {
			if end := stall + 12*time.Second; at >= stall && at < end {
				delay = end - at
			}
		}
		s, err := d.Decode(b.say(t, "pad", i, at, delay))
		if err != nil || s.Boot != 1 || s.Seq != int64(i) || d.gap != 0 {
			t.Fatalf("frame %d: boot %d seq %d gap %d, %v", i, s.Boot, s.Seq, d.gap, err)
		}
	}
}

// TestReordering shows frames that come late, and twice.
func TestReordering(t *testing.T) {
	d := station(t, "", "lark-bin")
	b := &board{p: builtin(t, "lark-bin"), rocket: 7, boot: 1}
	var fs []ingest.Frame
	for i := range 12 {
		fs = append(fs, b.say(t, "pad", i, time.Duration(i)*50*time.Millisecond, 0))
	}
	m := NewMerger()
	order := []int{0, 1, 2, 5, 3, 4, 6, 6, 8, 9, 7, 11}
	for n, i := range order {
		f := fs[i]
		f.Mono = int64(time.Duration(n)*50*time.Millisecond) + 200e6
		f.Heard = epoch().Add(time.Duration(f.Mono))
		s, err := d.Decode(f)
		if err != nil || s.Seq != int64(i) || s.Boot != 1 {
			t.Fatalf("frame %d: seq %d boot %d, %v", i, s.Seq, s.Boot, err)
		}
		m.Add(s)
	}
	diff(t, "losses", []Merged{{Rocket: "id-7", Heard: 11, Lost: 1, Links: []Loss{{Link: "pad", Rocket: "id-7", Heard: 11, Lost: 1, Twice: 1}}}}, m.Counts())
}

// TestSequenceAlone follows boards without a clock: at is when the frame was
// heard less its time on the wire, and a sequence that falls back is a reboot.
func TestSequenceAlone(t *testing.T) {
	d := station(t, shortLayout, "seq-only")
	b := &board{p: compileNamed(t, shortLayout, "seq-only"), rocket: 7, seq: 65000}
	for i := range 2000 {
		at := time.Duration(i) * 100 * time.Millisecond
		want := b.seq
		boot := uint32(1)
		if i >= 1000 {
			if i == 1000 {
				b.seq = 3
			}
			boot, want = 2, b.seq
		}
		f := b.say(t, "pad", i, at, 0)
		f.Baud, f.Wire = 9600, 6
		s, err := d.Decode(f)
		if err != nil || s.Seq != want || s.Boot != boot || s.Clock != -1 {
			t.Fatalf("frame %d: seq %d boot %d clock %d, %v; want seq %d boot %d", i, s.Seq, s.Boot, s.Clock, err, want, boot)
		}
		if got := f.Heard.Sub(s.At); got != 6250*time.Microsecond {
			t.Fatalf("at is %v before heard, want 6.25 ms (6 bytes of 10 bits at 9600 baud)", got)
		}
	}
}

// TestDamagedClock shows that without a checksum one damaged clock is no
// reboot, while two frames that agree are.
func TestDamagedClock(t *testing.T) {
	d := station(t, shortLayout, "csv")
	n := 0
	say := func(line string, at time.Duration) (Sample, error) {
		n++
		return d.Decode(frame("pad", n, at, []byte(line)))
	}
	for i := range 100 {
		at := time.Duration(i) * 100 * time.Millisecond
		line := fmt.Sprintf("%d,%d,1000.00", i, 5000+100*i)
		if i == 40 {
			line = fmt.Sprintf("%d,%d,1000.00", i, 100*i/10)
		}
		if i == 60 {
			line = fmt.Sprintf("%d,%d,1000.00", 10*i, 5000+100*i) // a digit too many
		}
		s, err := say(line, at)
		if i == 40 || i == 60 {
			var r *Reject
			if !errors.As(err, &r) || r.Reason != ReasonClockJump {
				t.Fatalf("%+v, %v", s, err)
			}
			continue
		}
		if err != nil || s.Boot != 1 || s.Seq != int64(i) {
			t.Fatalf("frame %d: %+v, %v", i, s, err)
		}
	}
	for i := range 10 {
		// It was heard until 9.9 s, so its new clock cannot be past 300 ms at 10.2 s.
		s, err := say(fmt.Sprintf("%d,%d,1000.00", i, 300+100*i), 10200*time.Millisecond+time.Duration(i)*100*time.Millisecond)
		if i > 0 && (err != nil || s.Boot != 2 || s.Seq != int64(i)) {
			t.Fatalf("frame %d after the reboot: %+v, %v", i, s, err)
		}
	}
}

// TestTwoBoardsOneID shows that two boards with one id, on one link or two,
// get a boot each and keep it, so that an alarm can tell.
func TestTwoBoardsOneID(t *testing.T) {
	for _, links := range [][2]string{{"pad", "pad"}, {"pad", "north"}} {
		d, err := New(Config{
			Links:   []LinkLayouts{{Link: "pad", Layouts: []string{"lark-bin"}}, {Link: "north", Layouts: []string{"lark-bin"}}},
			Rockets: nil,
		})
		if err != nil {
			t.Fatal(err)
		}
		p := builtin(t, "lark-bin")
		one := &board{p: p, rocket: 7, boot: 4, start: -400 * time.Second, seq: 4000}
		two := &board{p: p, rocket: 7, boot: 4, start: -90 * time.Second, seq: 900}
		boots := map[uint32]int{}
		for i := range 200 {
			at := time.Duration(i) * 100 * time.Millisecond
			for k, b := range []*board{one, two} {
				want := b.seq
				s, err := d.Decode(b.say(t, links[k], i, at, 0))
				if err != nil || s.Seq != want {
					t.Fatalf("%v: seq %d, %v; want %d", links, s.Seq, err, want)
				}
				boots[s.Boot]++
			}
		}
		diff(t, "samples of each boot", map[uint32]int{4: 200, 5: 200}, boots)
	}
}

// TestTwoLinksAgree shows that a link which joins later takes over boot, turns
// of the clock and sequence from the one that was there.
func TestTwoLinksAgree(t *testing.T) {
	d, err := New(Config{Layouts: layouts(t, shortLayout), Links: []LinkLayouts{
		{Link: "pad", Layouts: []string{"short"}}, {Link: "north", Layouts: []string{"short"}},
	}})
	if err != nil {
		t.Fatal(err)
	}
	b := &board{p: compileNamed(t, shortLayout, "short"), rocket: 7}
	for i := range 6000 {
		at := time.Duration(i) * 50 * time.Millisecond
		if i == 1000 || i == 4000 {
			b.restart(at)
		}
		f := b.say(t, "pad", i, at, 0)
		first, err := d.Decode(f)
		if err != nil {
			t.Fatal(err)
		}
		if i < 3000 {
			continue
		}
		f.Link, f.Mono, f.Heard = "north", f.Mono+30e6, f.Heard.Add(30*time.Millisecond)
		second, err := d.Decode(f)
		if err != nil || first.Boot != second.Boot || first.Seq != second.Seq || first.Clock != second.Clock {
			t.Fatalf("frame %d: %d %d %d and %d %d %d, %v", i, first.Boot, first.Seq, first.Clock, second.Boot, second.Seq, second.Clock, err)
		}
	}
}

// TestNames shows how a rocket gets its name.
func TestNames(t *testing.T) {
	seven, nine := uint32(7), uint32(9)
	d, err := New(Config{
		Layouts: layouts(t, shortLayout),
		Links:   []LinkLayouts{{Link: "pad", Layouts: []string{"lark-bin"}}, {Link: "usb", Layouts: []string{"csv"}, Rocket: "Plum"}},
		Rockets: []RocketID{{"Teal", &seven}, {"Rust", &nine}, {"Plum", nil}},
	})
	if err != nil {
		t.Fatal(err)
	}
	p := builtin(t, "lark-bin")
	for id, want := range map[uint32]string{7: "Teal", 9: "Rust", 12: "id-12"} {
		b := &board{p: p, rocket: id, boot: 1}
		if s, err := d.Decode(b.say(t, "pad", 1, time.Second, 0)); err != nil || s.Rocket != want {
			t.Errorf("id %d is %q, %v; want %q", id, s.Rocket, err, want)
		}
	}
	if s, err := d.Decode(frame("usb", 1, time.Second, []byte("1,2,1000"))); err != nil || s.Rocket != "Plum" {
		t.Errorf("%q, %v; want Plum by the link", s.Rocket, err)
	}
	if _, err := d.Decode(frame("nowhere", 1, time.Second, nil)); err == nil {
		t.Error("a frame of an unknown link was decoded")
	}
	if _, err := New(Config{Rockets: []RocketID{{"Teal", &seven}, {"Rust", &seven}}}); err == nil {
		t.Error("two rockets with one id were accepted")
	}
}

// TestManyRockets shows that damaged ids cannot fill the memory.
func TestManyRockets(t *testing.T) {
	d := station(t, `[[layout]]
name = "bare"
framing = "line"
form = "delimited"
fields = [ { name = "rocket" }, { name = "pressure_pa" } ]`, "bare")
	for i := range 300 {
		_, err := d.Decode(frame("pad", i, time.Second, fmt.Appendf(nil, "%d,100000", 1000*i)))
		if (err != nil) != (i >= MaxGuests) {
			t.Fatalf("rocket %d: %v", i, err)
		}
	}
	if len(d.rockets) != MaxGuests {
		t.Errorf("%d rockets", len(d.rockets))
	}
}

// TestSameFramesSameSamples decodes one session twice.
func TestSameFramesSameSamples(t *testing.T) {
	run := func() []Sample {
		d := station(t, "", "lark-bin")
		b := &board{p: builtin(t, "lark-bin"), rocket: 7, boot: 1, skew: 100e-6}
		r := rand.New(rand.NewPCG(5, 6))
		var out []Sample
		for i := range 2000 {
			f := b.say(t, "pad", i, time.Duration(i)*20*time.Millisecond, time.Duration(r.Int64N(50e6)))
			if s, err := d.Decode(f); err == nil {
				out = append(out, s)
			}
		}
		return out
	}
	diff(t, "samples", run(), run())
}
