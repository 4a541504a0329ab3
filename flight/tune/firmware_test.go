package tune_test

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"padlark/decode"
	"padlark/flight/ensemble"
	"padlark/flight/tune"
	"padlark/ingest"
)

const firmware = "../../deploy/firmware"

// needed finds a program. Without it the test is skipped, and fails where all
// tools must be there.
func needed(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("PADLARK_CI") == "1" {
			t.Fatalf("%s is not installed, and PADLARK_CI=1 asks for it", name)
		}
		t.Skipf("%s is not installed: the firmware cannot be compiled", name)
	}
	return path
}

// strict are the flags under which the firmware must compile without a word.
var strict = []string{"-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-Os"}

// compile makes the desktop program with these settings, checked at run time
// for undefined behaviour where the compiler can do that.
func compile(t *testing.T, gcc string, s tune.Settings) string {
	t.Helper()
	dir := t.TempDir()
	header := s.Header(50, "For a test. */ not the end of the comment")
	if err := os.WriteFile(filepath.Join(dir, "apogee_settings.h"), []byte(header), 0o644); err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(dir, "host")
	args := append([]string{}, strict...)
	args = append(args, "-I", dir, "-I", firmware, "-o", out)
	args = append(args, filepath.Join(firmware, "apogee.c"), filepath.Join(firmware, "lark.c"), filepath.Join("testdata", "host.c"))
	checked := append([]string{"-fsanitize=undefined", "-fno-sanitize-recover=all"}, args...)
	if exec.Command(gcc, checked...).Run() == nil {
		return out
	}
	if msg, err := exec.Command(gcc, args...).CombinedOutput(); err != nil {
		t.Fatalf("compile for %v: %v\n%s", s, err, msg)
	}
	return out
}

// common is what the rules of these tests share.
func common() tune.Settings {
	return tune.Settings{
		Family: tune.Drop, DropCm: 150, Samples: 2, Median: true, ArmCm: 500, ArmSamples: 3,
		LockoutMs: 500, BackupMs: 40000, PadShift: 8, SlopeQ10: tune.SlopeAt(101325, 15),
	}
}

// with is common, changed.
func with(change func(*tune.Settings)) tune.Settings {
	s := common()
	change(&s)
	return s
}

// tried are rules of each family, with each part of the code switched on and
// off.
func tried() []tune.Settings {
	return []tune.Settings{
		common(),
		with(func(s *tune.Settings) { s.Median, s.Shift, s.DropCm = false, 2, 50 }),
		with(func(s *tune.Settings) { s.Family, s.DropCm, s.Shift, s.Samples = tune.Slope, 0, 1, 1 }),
		with(func(s *tune.Settings) { s.Family, s.DropCm, s.Shift, s.BackupMs = tune.Slope, 0, 3, 2500 }),
		with(func(s *tune.Settings) {
			s.Family, s.DropCm, s.Shift, s.Samples, s.Median = tune.AlphaBeta, 0, 2, 1, false
		}),
		with(func(s *tune.Settings) {
			s.Family, s.DropCm, s.Shift, s.LockoutMs, s.BackupMs = tune.AlphaBeta, 0, 5, 0, 0
		}),
	}
}

// series are 1000 drawn flights and some series that no flight has: readings
// that jump between all values of 32 bits and back, and clocks that wrap.
func series(t *testing.T) []tune.Flight {
	t.Helper()
	spec := tune.Poor()
	spec.RateHz = []float64{20, 50}
	out := make([]tune.Flight, 1000, 1060)
	var drawn ensemble.Flight
	for i := range out {
		if err := ensemble.DrawInto(&drawn, spec, 5, uint64(i)); err != nil {
			t.Fatal(err)
		}
		tune.FromEnsemble(&out[i], &drawn)
	}
	rng := rand.New(rand.NewPCG(3, 4))
	for k := range 60 {
		var f tune.Flight
		ms := rng.Uint32()
		for range 400 {
			ms += 20
			p := int32(rng.Uint32())
			switch {
			case k%3 == 1: // all that counts as air
				p = 100000 + int32(rng.Uint32N(1100001))
			case k%3 == 2: // mostly rising slowly, now and then at an end
				p = 1000000 - int32(len(f.Ms))*300
				if rng.Uint32N(20) == 0 {
					p = []int32{100000, 1200000, -1 << 31, 1<<31 - 1}[rng.Uint32N(4)]
				}
			}
			f.Ms, f.DPa = append(f.Ms, ms), append(f.DPa, p)
		}
		out = append(out, f)
	}
	return out
}

// The C rule releases at the same reading, for the same cause, as what tune
// judges.
func TestFirmwareReleasesAlike(t *testing.T) {
	gcc := needed(t, "gcc")
	flights := series(t)
	var in bytes.Buffer
	for i := range flights {
		f := &flights[i]
		words := make([]uint32, 0, 1+2*len(f.Ms))
		words = append(words, uint32(len(f.Ms)))
		for k := range f.Ms {
			words = append(words, f.Ms[k], uint32(f.DPa[k]))
		}
		if err := binary.Write(&in, binary.LittleEndian, words); err != nil {
			t.Fatal(err)
		}
	}
	for _, s := range tried() {
		t.Run(s.String(), func(t *testing.T) {
			t.Parallel()
			if err := s.Validate(); err != nil {
				t.Fatal(err)
			}
			cmd := exec.Command(compile(t, gcc, s), "rule")
			cmd.Stdin = bytes.NewReader(in.Bytes())
			var errs bytes.Buffer
			cmd.Stderr = &errs
			out, err := cmd.Output()
			if err != nil {
				t.Fatalf("run: %v\n%s", err, errs.Bytes())
			}
			lines := strings.Split(strings.TrimSpace(string(out)), "\n")
			if len(lines) != len(flights) {
				t.Fatalf("%d lines for %d flights", len(lines), len(flights))
			}
			var o tune.Board
			released := map[tune.Cause]int{}
			for i := range flights {
				at, by := tune.Fire(&o, &s, &flights[i])
				released[by]++
				if want := fmt.Sprintf("%d %d", at, by); lines[i] != want {
					t.Fatalf("flight %d: the C rule says %q, tune %q", i, lines[i], want)
				}
			}
			if released[tune.ByRule] < 700 && s.BackupMs != 2500 {
				t.Errorf("only %d releases by the rule: this compares nothing", released[tune.ByRule])
			}
		})
	}
}

// What the C encoder sends is what it was told, as heard by the framing and
// the built-in layouts.
func TestFirmwareIsUnderstood(t *testing.T) {
	out, err := exec.Command(compile(t, needed(t, "gcc"), common()), "say", "300").Output()
	if err != nil {
		t.Fatalf("run: %v", err)
	}
	layouts, err := decode.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSuffix(string(out), "\n"), "\n")
	if len(lines) != 300 {
		t.Fatalf("%d lines", len(lines))
	}
	var wire [2][]byte // bin and text, as on the link
	var said [][]int64
	for _, line := range lines {
		f := strings.SplitN(line, " ", 11)
		var v []int64
		for _, x := range f[:9] {
			n, err := strconv.ParseInt(x, 10, 64)
			if err != nil {
				t.Fatal(err)
			}
			v = append(v, n)
		}
		said = append(said, v)
		bin, err := hex.DecodeString(f[9])
		if err != nil || len(bin) != 24 {
			t.Fatalf("binary message %q: %v", f[9], err)
		}
		wire[0] = append(wire[0], bin...)
		wire[1] = append(wire[1], f[10]+"\n"...)
	}
	for i, name := range []string{"lark-bin", "lark-text"} {
		hear(t, layouts, name, wire[i], said)
	}
}

// sink keeps messages.
type sink struct {
	t        *testing.T
	messages [][]byte
}

func (s *sink) Message(m ingest.Message) error {
	s.messages = append(s.messages, bytes.Clone(m.Bytes))
	return nil
}

func (s *sink) Reject(r ingest.Reject) {
	s.t.Errorf("the framing rejects %q: %s", r.Bytes, r.Reason)
}

// hear frames and decodes bytes and compares with what was said.
func hear(t *testing.T, layouts []decode.Layout, name string, wire []byte, said [][]int64) {
	t.Helper()
	var layout decode.Layout
	for _, l := range layouts {
		if l.Name == name {
			layout = l
		}
	}
	framer, err := ingest.NewFramer(layout.Framing, 0)
	if err != nil {
		t.Fatal(err)
	}
	s := sink{t: t}
	if err := framer.Push(wire, &s); err != nil {
		t.Fatal(err)
	}
	if len(s.messages) != len(said) {
		t.Fatalf("%s: %d messages, sent %d", name, len(s.messages), len(said))
	}
	for i, m := range s.messages {
		// A new decoder each time: seq and clock go on from nothing.
		d, err := decode.New(decode.Config{Links: []decode.LinkLayouts{{Link: "pad", Layouts: []string{name}}}})
		if err != nil {
			t.Fatal(err)
		}
		got, err := d.Decode(ingest.Frame{Link: "pad", N: 1, Bytes: m})
		if err != nil {
			t.Fatalf("%s: message %d (%v): %v", name, i, said[i], err)
		}
		compare(t, name, got, said[i])
	}
}

// compare checks a sample against the numbers of the board.
func compare(t *testing.T, name string, got decode.Sample, said []int64) {
	t.Helper()
	if want := fmt.Sprintf("id-%d", said[0]); got.Rocket != want || got.Seq != said[2] || got.Clock != said[3]*1000 {
		t.Errorf("%s: %s, seq %d, clock %d us; sent %v", name, got.Rocket, got.Seq, got.Clock, said)
	}
	for _, c := range []struct {
		channel string
		raw     int64
		missing int64
		unit    float64
		lo, hi  float64 // what no air and no sensor can be, the station refuses
	}{
		{decode.PressurePa, said[4], 0xFFFFFFFF, 0.1, 0, 1e7}, // 100 bar
		{decode.TemperatureC, said[5], -32768, 0.01, -273.15, 2000},
		{decode.CellV, said[6], 0xFFFF, 0.001, 0, 65.535},
		{decode.ReleaseUs, said[7], 0xFFFF, 1, 0, 65535},
		{decode.ReleaseOn, said[8] & 1, -1, 1, 0, 1},
		{decode.Armed, said[8] >> 1, -1, 1, 0, 127},
	} {
		v, ok := got.Values.Get(c.channel)
		want := float64(c.raw) * c.unit
		sent := c.raw != c.missing && want >= c.lo && want <= c.hi
		if ok != sent || ok && (v < want-1e-6 || v > want+1e-6) {
			t.Errorf("%s: %s is %v, %v; sent %d", name, c.channel, v, ok, c.raw)
		}
	}
}

// The firmware keeps its word: no floating point, no heap, no division, no
// variables of its own.
func TestFirmwareIsSmall(t *testing.T) {
	gcc := needed(t, "gcc")
	for _, name := range []string{"apogee.c", "apogee.h", "lark.c", "lark.h", "seal.c", "seal.h"} {
		src, err := os.ReadFile(filepath.Join(firmware, name))
		if err != nil {
			t.Fatal(err)
		}
		code := stripComments(string(src))
		for _, word := range []string{"float", "double", "malloc", " / ", " % ", "stdio", "stdlib"} {
			if strings.Contains(code, word) {
				t.Errorf("%s: has %q", name, word)
			}
		}
	}
	dir := t.TempDir()
	check := `#include "lark.h"
#include "apogee.h"
typedef char lark_fits[sizeof(struct lark) + LARK_TEXT_MAX + LARK_BIN_SIZE <= 128 ? 1 : -1];
typedef char rule_fits[sizeof(struct apogee) <= 40 ? 1 : -1];
`
	for file, text := range map[string]string{"fits.c": check, "apogee_settings.h": common().Header(50)} {
		if err := os.WriteFile(filepath.Join(dir, file), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for _, file := range []string{filepath.Join(dir, "fits.c"), filepath.Join(firmware, "lark.c"), filepath.Join(firmware, "apogee.c")} {
		obj := filepath.Join(dir, filepath.Base(file)+".o")
		args := append(append([]string{}, strict...), "-I", dir, "-I", firmware, "-c", file, "-o", obj)
		if msg, err := exec.Command(gcc, args...).CombinedOutput(); err != nil {
			t.Fatalf("compile %s: %v\n%s", file, err, msg)
		}
		size, err := exec.Command(needed(t, "size"), obj).Output()
		if err != nil {
			t.Fatal(err)
		}
		f := strings.Fields(strings.Split(string(size), "\n")[1])
		if f[1] != "0" || f[2] != "0" {
			t.Errorf("%s: %s bytes of data and %s of bss; want none", file, f[1], f[2])
		}
	}
}

// stripComments takes the comments out of C.
func stripComments(src string) string {
	var b strings.Builder
	for {
		before, rest, ok := strings.Cut(src, "/*")
		b.WriteString(before)
		if !ok {
			return b.String()
		}
		_, src, _ = strings.Cut(rest, "*/")
	}
}
