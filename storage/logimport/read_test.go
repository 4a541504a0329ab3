package logimport

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/decode"
	"padlark/ingest"
)

// plain is a log in a user's own form, without checksum: clock in ms, pressure
// in Pa, cell in V.
func plain() Config {
	return Config{Link: "log-x", Layout: "own", Rocket: "Plum", Layouts: []decode.Layout{{
		Name: "own", Framing: ingest.Framing{Kind: "line"}, Form: "delimited",
		Fields: []decode.Field{{Name: "clock", Unit: "ms"}, {Name: "pressure_pa", Unit: "Pa"}, {Name: "cell_v", Unit: "V"}},
	}}}
}

// source is a log that is a file's bytes.
func source(t *testing.T, data []byte) *Source {
	t.Helper()
	s, err := Open(t.Context(), bytes.NewReader(data), int64(len(data)), Form{Text: true})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func framesOf(t *testing.T, l *Log) (out []ingest.Frame) {
	t.Helper()
	err := l.Each(t.Context(), "s", time.Unix(0, 0), func(f *ingest.Frame, _ *decode.Parsed) error {
		out = append(out, *f)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// lines are n lines, 20 ms apart, from a clock in ms on.
func lines(n, from int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "%d,%d,3.9\n", from+20*i, 101325-i)
	}
	return b.String()
}

func TestRead(t *testing.T) {
	const header = "clock,pressure,cell\n"
	cases := map[string]struct {
		text      string
		good      int
		stretches []Stretch
		skipped   []int // lines
		hint      string
	}{
		"header, once more in the middle": {header + lines(3, 0) + header + lines(3, 60), 6,
			[]Stretch{{First: 1, Frames: 7, Length: 100 * time.Millisecond}}, []int{1, 5}, ""},
		"torn line": {lines(3, 0) + "60,1013\n" + lines(2, 80), 5,
			[]Stretch{{First: 0, Frames: 6, Length: 100 * time.Millisecond}}, []int{4}, ""},
		"torn at the end": {lines(3, 0) + "60,10", 3,
			[]Stretch{{First: 0, Frames: 4, Length: 40 * time.Millisecond}}, []int{4}, ""},
		"two flights, the board started again": {lines(4, 5000) + lines(3, 100), 7,
			[]Stretch{{First: 0, Frames: 4, Length: 60 * time.Millisecond}, {First: 4, Frames: 3, Length: 40 * time.Millisecond, Base: pause + 60*time.Millisecond}}, nil, ""},
		"clock of 16 bits in ms begins again": {lines(4, 65470) + lines(3, 14), 7,
			[]Stretch{{First: 0, Frames: 7, Length: 120 * time.Millisecond}}, nil, "after 65.536 s"},
		"missing channel": {"0,101325,\n20,,3.9\n40,101320,3.8\n", 3,
			[]Stretch{{First: 0, Frames: 3, Length: 40 * time.Millisecond}}, nil, ""},
		"a clock that leaps once": {lines(3, 0) + "99999999,101322,3.9\n" + lines(3, 60), 6,
			[]Stretch{{First: 0, Frames: 6, Length: 100 * time.Millisecond}}, []int{4}, ""},
		"empty lines": {lines(2, 0) + "\n\n" + lines(1, 40), 3,
			[]Stretch{{First: 0, Frames: 3, Length: 40 * time.Millisecond}}, nil, ""},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			l, err := Read(t.Context(), source(t, []byte(c.text)), plain())
			if err != nil {
				t.Fatal(err)
			}
			if l.Good != c.good {
				t.Errorf("%d good lines, want %d; skipped %v", l.Good, c.good, l.Skipped)
			}
			if diff := cmp.Diff(c.stretches, l.Stretches); diff != "" {
				t.Errorf("stretches (-want +got):\n%s", diff)
			}
			var skipped []int
			for _, s := range l.Skipped {
				skipped = append(skipped, s.Line)
			}
			if diff := cmp.Diff(c.skipped, skipped); diff != "" {
				t.Errorf("skipped lines (-want +got):\n%s\n%v", diff, l.Skipped)
			}
			if !strings.Contains(strings.Join(l.Hints, "\n"), c.hint) {
				t.Errorf("hints %q, want %q", l.Hints, c.hint)
			}
		})
	}
}

func TestReadWithoutClock(t *testing.T) {
	c := plain()
	c.Layouts[0].Fields = c.Layouts[0].Fields[1:]
	if _, err := Read(t.Context(), source(t, []byte("101325,3.9\n")), c); !errors.Is(err, ErrNoClock) {
		t.Errorf("error %v, want ErrNoClock", err)
	}
	c.Rate = 10
	l, err := Read(t.Context(), source(t, []byte("101325,3.9\n101324,3.9\n101323,3.9\n")), c)
	if err != nil || l.End() != 200*time.Millisecond {
		t.Errorf("three lines at 10 Hz last %v, %v", l.End(), err)
	}
}

// TestReadEverySkipIsTold: every skipped line is told with its number and
// reason, and a file of another kind neither fills the memory nor the screen.
func TestReadEverySkipIsTold(t *testing.T) {
	const bad = 200_000
	var b strings.Builder
	b.WriteString(lines(3, 0))
	for i := range bad {
		fmt.Fprintf(&b, "this is %d, of another kind altogether\n", i)
	}
	b.WriteString(lines(2, 60) + "torn\n" + lines(1, 100))
	for i := range 3000 { // bad and good in turn cannot be told as one
		fmt.Fprintf(&b, "bad\n%d,101325,3.9\n", 120+20*i)
	}
	told := map[int]int{}
	tellings := 0
	c := plain()
	c.OnSkip = func(s Skip) {
		tellings++
		if s.Reason == "" || s.Line == 0 {
			t.Errorf("%+v", s)
		}
		for l := s.Line; l <= max(s.Line, s.Last); l++ {
			told[l]++
		}
	}
	log, err := Read(t.Context(), source(t, []byte(b.String())), c)
	if err != nil {
		t.Fatal(err)
	}
	want := map[int]int{}
	for i := range bad {
		want[4+i] = 1
	}
	want[bad+6] = 1
	for i := range 3000 {
		want[bad+8+2*i] = 1
	}
	if !maps.Equal(want, told) {
		t.Errorf("lines told (-want +got):\n%.2000s", cmp.Diff(want, told))
	}
	if log.Bad != bad+3001 || log.Good != 3006 {
		t.Errorf("%d bad, %d good", log.Bad, log.Good)
	}
	if len(log.Skipped) > skipMost || tellings > 3100 {
		t.Errorf("%d kept, %d told", len(log.Skipped), tellings)
	}
}

// TestReadIsDeterministic: however the goroutines run, the log is the same.
func TestReadIsDeterministic(t *testing.T) {
	text := lines(5000, 100) + "x\n" + lines(5000, 0) + "y\n" + lines(4000, 200)
	var first []ingest.Frame
	for range 5 {
		l, err := Read(t.Context(), source(t, []byte(text)), plain())
		if err != nil {
			t.Fatal(err)
		}
		fs := framesOf(t, l)
		if first == nil {
			first = fs
		}
		if !reflect.DeepEqual(first, fs) {
			t.Fatalf("another log (-first +now):\n%.1000s", cmp.Diff(first, fs))
		}
	}
	if len(first) != 14002 {
		t.Errorf("%d frames", len(first))
	}
}

// Whatever the bytes, reading ends, and every frame has a time that does not
// fall. Only what is empty or begins as a file of another kind is refused.
func FuzzRead(f *testing.F) {
	for _, seed := range []string{
		"", "\xef\xbb\xbf", "\xff\xfe1\x00\n\x00", "PK\x03\x04", "\x1f\x8b\x08\x00", lines(2, 0) + "1,5;3,9\n",
		lines(3, 0) + "x\n" + lines(2, 65530) + "\xff\n" + lines(2, 0),
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		src, err := Open(t.Context(), bytes.NewReader(data), int64(len(data)), Form{Text: true, Commas: len(data)%2 == 0})
		if err != nil {
			if !refused(data) {
				t.Fatal(err)
			}
			return
		}
		l, err := Read(t.Context(), src, plain())
		if err != nil {
			t.Fatal(err)
		}
		fs := framesOf(t, l)
		for i := 1; i < len(fs); i++ {
			if fs[i].Passed <= fs[i-1].Passed {
				t.Fatalf("frame %d passed at %d, after one at %d", i, fs[i].Passed, fs[i-1].Passed)
			}
		}
	})
}

// refused says whether Open may refuse a text: for after its byte order mark
// nothing is left, or half a unit of UTF-16, or because it begins as another kind.
func refused(data []byte) bool {
	for mark, unit := range map[string]int{"\xef\xbb\xbf": 1, "\xff\xfe": 2, "\xfe\xff": 2} {
		if rest, ok := bytes.CutPrefix(data, []byte(mark)); ok {
			return len(rest) < unit
		}
	}
	return len(data) == 0 || bytes.HasPrefix(data, []byte("PK\x03\x04")) ||
		bytes.HasPrefix(data, []byte{0x1f, 0x8b, 8}) || ingest.IsCapture(bytes.NewReader(data))
}
