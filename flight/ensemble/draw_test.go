package ensemble

import (
	"crypto/sha256"
	"encoding/hex"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"padlark/decode"
)

var update = flag.Bool("update", false, "write the golden files anew")

// digest is a hash of what a flight's samples say, to the steps of the sensor.
func digest(f *Flight) string {
	h := sha256.New()
	for i := range f.Samples {
		s := &f.Samples[i]
		fmt.Fprintf(h, "%s %d %d %d %d %d %d", s.Rocket, s.N, s.Boot, s.Seq, s.Clock, s.Passed/1000, s.At.UnixMilli())
		for k, n := range s.Values.Names {
			fmt.Fprintf(h, " %s %.2f", n, s.Values.Values[k])
		}
		fmt.Fprintln(h)
	}
	return hex.EncodeToString(h.Sum(nil))[:16]
}

// The golden file pins flights of every spec, case and fault: a change of the
// generator, wanted or not, shows as a changed line.
func TestGolden(t *testing.T) {
	var got strings.Builder
	for _, spec := range []Spec{Nominal50(), Slow10(), Wide(), Short(), ForFaults()} {
		for i := range uint64(2) {
			f, err := Draw(spec, 1, i)
			if err != nil {
				t.Fatal(err)
			}
			fmt.Fprintf(&got, "spec %s %d samples %d apogee %.2f m %s\n", spec.Name, i, len(f.Samples), f.Truth.ApogeeM, digest(&f))
		}
	}
	for _, c := range Cases() {
		f, err := c.Draw(1)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&got, "case %s samples %d %s\n", c.Name, len(f.Samples), digest(&f))
	}
	base, err := Draw(ForFaults(), 1, 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range Faults() {
		f, truth, err := Inject(k.Kind, &base, 1)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&got, "fault %s samples %d onset %.2f by %.2f %s\n", k.Kind, len(f.Samples), truth.OnsetS, truth.ByS, digest(&f))
	}
	path := filepath.Join("testdata", "golden.txt")
	if *update {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(got.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	wantLines, gotLines := strings.Split(string(want), "\n"), strings.Split(got.String(), "\n")
	if len(wantLines) != len(gotLines) {
		t.Fatalf("%d lines, want %d", len(gotLines), len(wantLines))
	}
	for i := range wantLines {
		if wantLines[i] != gotLines[i] {
			t.Errorf("line %d\n-%s\n+%s", i+1, wantLines[i], gotLines[i])
		}
	}
}

// Memory that is used again must not show in the next flight.
func TestDrawIntoIsDraw(t *testing.T) {
	var reused Flight
	for i := range uint64(8) {
		spec := Wide()
		if err := DrawInto(&reused, spec, 5, i); err != nil {
			t.Fatal(err)
		}
		fresh, err := Draw(spec, 5, i)
		if err != nil {
			t.Fatal(err)
		}
		if a, b := digest(&reused), digest(&fresh); a != b {
			t.Errorf("flight %d: %s with used memory, %s with fresh", i, a, b)
		}
	}
}

func TestDifferentSeedsDiffer(t *testing.T) {
	seen := map[string]bool{}
	for _, si := range [][2]uint64{{1, 0}, {1, 1}, {2, 0}, {0, 1}, {0, 2}} {
		f, err := Draw(Nominal50(), si[0], si[1])
		if err != nil {
			t.Fatal(err)
		}
		d := digest(&f)
		if seen[d] {
			t.Errorf("seed %d index %d gives a flight that came before", si[0], si[1])
		}
		seen[d] = true
	}
}

// Heights stay in the range of the spec, and all of the range is used.
func TestApogeesFillTheRange(t *testing.T) {
	var low, mid, high, n int
	var f Flight
	for i := range uint64(300) {
		if err := DrawInto(&f, Short(), 2, i); err != nil {
			t.Fatal(err)
		}
		n++
		switch h := f.Truth.ApogeeM; {
		case h < 9.5 || h > 205:
			t.Errorf("flight %d reaches %.1f m, outside of 10 to 200 m", i, h)
		case h < 27:
			low++
		case h < 74:
			mid++
		default:
			high++
		}
	}
	for _, k := range []int{low, mid, high} {
		if k < n/5 {
			t.Errorf("apogees are lopsided: %d low, %d middle, %d high of %d", low, mid, high, n)
		}
	}
}

func TestSamplesAreInOrder(t *testing.T) {
	flights(t, 40, func(t *testing.T, f *Flight) {
		var n uint64
		passed, seq := int64(-1), int64(-1)
		for i := range f.Samples {
			s := &f.Samples[i]
			if s.N != n+1 || s.Passed <= passed || s.Seq <= seq {
				t.Fatalf("sample %d: n %d, passed %d, seq %d after %d, %d, %d", i, s.N, s.Passed, s.Seq, n, passed, seq)
			}
			n, passed, seq = s.N, s.Passed, s.Seq
			if d := s.Heard.Sub(s.At).Seconds(); d < -0.01 || d > 0.25 {
				t.Fatalf("sample %d is heard %.3f s after it was measured", i, d)
			}
			if p, ok := s.Values.Get(decode.PressurePa); !ok || math.Abs(p/f.Samples[0].Values.Values[0]-1) > 0.25 {
				t.Fatalf("sample %d: pressure %v Pa", i, p)
			}
		}
	})
}

func TestSpecThatCannotBeFlown(t *testing.T) {
	s := Nominal50()
	s.WaterM = Fixed(5e4)
	if _, err := Draw(s, 1, 0); err == nil {
		t.Error("a water rocket flew to 50 km")
	}
}

func BenchmarkDraw(b *testing.B) {
	for _, spec := range []Spec{Nominal50(), Slow10(), Wide(), Short()} {
		b.Run(spec.Name, func(b *testing.B) {
			var f Flight
			n := 0
			for i := range b.N {
				if err := DrawInto(&f, spec, 1, uint64(i)); err != nil {
					b.Fatal(err)
				}
				n += len(f.Samples)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(n), "ns/sample")
			b.ReportMetric(float64(n)/float64(b.N), "samples/flight")
		})
	}
}
