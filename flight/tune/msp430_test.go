package tune_test

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// The encoder and the release rule, built for a 16-bit controller with 512 bytes of
// RAM, need at most 256 of them, stack included, and 4 kB of flash. That an int of 16
// bits gives the same sums is tested where it can be run, on an AVR in simulation.
func TestFirmwareFitsMSP430(t *testing.T) {
	clang, sizer := needed(t, "clang"), needed(t, "llvm-size")
	if !strings.Contains(output(t, clang, "--print-targets"), "msp430") {
		t.Skip("this clang does not build for msp430")
	}
	dir := t.TempDir()
	for file, text := range map[string]string{
		"apogee_settings.h": common().Header(50),
		"memory.c":          "#include \"lark.h\"\n#include \"apogee.h\"\nstruct lark message;\nstruct apogee rule;\nuint8_t out[LARK_TEXT_MAX];\n",
	} {
		if err := os.WriteFile(filepath.Join(dir, file), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	var flash, ram, deepest int
	for _, file := range []string{filepath.Join(firmware, "lark.c"), filepath.Join(firmware, "apogee.c"), filepath.Join(dir, "memory.c")} {
		obj := filepath.Join(dir, strings.TrimSuffix(filepath.Base(file), ".c")+".o")
		args := append([]string{"--target=msp430", "-ffreestanding", "-fstack-usage"}, strict...)
		output(t, clang, append(args, "-I", dir, "-I", firmware, "-c", file, "-o", obj)...)
		var text, data, bss int
		if _, err := fmt.Sscan(strings.Split(output(t, sizer, obj), "\n")[1], &text, &data, &bss); err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: %d bytes of flash, %d of RAM", filepath.Base(file), text+data, data+bss)
		flash, ram = flash+text+data, ram+data+bss
		usage, err := os.ReadFile(strings.TrimSuffix(obj, ".o") + ".su")
		if err != nil && !os.IsNotExist(err) {
			t.Fatal(err)
		}
		// A function's own part of the stack, as if all of a file called each other,
		// each with its return address and four saved registers of 2 bytes.
		depth := 0
		for _, m := range regexp.MustCompile(`(?m)\t(\d+)\t`).FindAllSubmatch(usage, -1) {
			n, err := strconv.Atoi(string(m[1]))
			if err != nil {
				t.Fatal(err)
			}
			depth += n + 10
		}
		deepest = max(deepest, depth)
	}
	if deepest == 0 {
		t.Error("the compiler says nothing of the stack")
	}
	t.Logf("together: %d bytes of flash, %d of RAM and at most %d of stack", flash, ram, deepest)
	if ram+deepest > 256 {
		t.Errorf("%d bytes of RAM and %d of stack; want 256 together at most", ram, deepest)
	}
	if flash > 4096 {
		t.Errorf("%d bytes of flash; want 4096 at most", flash)
	}
}
