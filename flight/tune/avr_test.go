package tune_test

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"padlark/flight/tune"
)

// escapes are what simavr colours its lines with.
var escapes = regexp.MustCompile("\x1b\\[[0-9;]*m")

// On a controller whose int has 16 bits, in simulation, the example board says
// what it says on a desktop computer, byte for byte: no sum depends on a wider
// int. Its static memory leaves room for the stack in 512 bytes.
func TestFirmwareOnSixteenBitInt(t *testing.T) {
	gcc := needed(t, "gcc")
	for _, tool := range []string{"avr-gcc", "avr-size", "simavr"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skipf("%s is not installed (Debian: gcc-avr, avr-libc, simavr): the firmware is not run where int has 16 bits", tool)
		}
	}
	done := map[tune.Family]bool{}
	for _, s := range tried() {
		if done[s.Family] {
			continue // one of each is enough
		}
		done[s.Family] = true
		t.Run(s.String(), func(t *testing.T) {
			dir := t.TempDir()
			if err := os.WriteFile(filepath.Join(dir, "apogee_settings.h"), []byte(s.Header(50)), 0o644); err != nil {
				t.Fatal(err)
			}
			args := append(append([]string{}, strict...), "-I", dir, "-I", firmware)
			for _, f := range []string{"apogee.c", "lark.c", "board.c"} {
				args = append(args, filepath.Join(firmware, f))
			}
			host, chip := filepath.Join(dir, "host"), filepath.Join(dir, "board.elf")
			output(t, gcc, append(args, "-o", host)...)
			output(t, "avr-gcc", append(args, "-mmcu=atmega328p", "-o", chip)...)
			want := strings.ReplaceAll(output(t, host), "\r\n", "\n")
			var lines strings.Builder
			for _, l := range strings.Split(escapes.ReplaceAllString(output(t, "simavr", "-m", "atmega328p", "-f", "16000000", chip), ""), "\n") {
				if strings.HasPrefix(l, "$PLRK,") {
					lines.WriteString(strings.TrimRight(l, ".") + "\n") // it prints \r and \n as points
				}
			}
			if d := cmp.Diff(want, lines.String()); d != "" {
				t.Errorf("32-bit and 16-bit int differ (-32 +16):\n%s", d)
			}
			if !strings.Contains(want, ",1900,3*") || !strings.Contains(want, ",1000,2*") || !strings.Contains(want, ",1000,0*") {
				t.Errorf("it was not armed and released in turn:\n%s", want)
			}
			var text, data, bss int
			if _, err := fmt.Sscan(strings.Split(output(t, "avr-size", chip), "\n")[1], &text, &data, &bss); err != nil {
				t.Fatal(err)
			}
			if data+bss > 256 {
				t.Errorf("%d bytes of static memory; want 256 of 512 at most", data+bss)
			}
		})
	}
}

// output runs a program that must succeed and gives what it printed.
func output(t *testing.T, name string, args ...string) string {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), name, args...)
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Run(); err != nil {
		t.Fatalf("%s: %v\n%s", name, err, out.Bytes())
	}
	return out.String()
}
