package main

import (
	"bufio"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// benchLines is how long the log is; PADLARK_BENCH_LINES=1000000 is the full size.
func benchLines(b *testing.B) int {
	if s := os.Getenv("PADLARK_BENCH_LINES"); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil {
			b.Fatal(err)
		}
		return n
	}
	return 100_000
}

// writePadLog writes a board's log on the pad, 50 lines a second. It goes out
// line by line: the kernel counts the memory of this process to the one that it
// starts, up to that one's first instruction.
func writePadLog(b *testing.B, path string, n int) {
	b.Helper()
	f, err := os.Create(path) //nolint:gosec // in the test's folder
	if err != nil {
		b.Fatal(err)
	}
	out := bufio.NewWriter(f)
	for i := range n {
		body := fmt.Sprintf("PLRK,7,1,%d,%d,%.1f,2150,%d,1000,2", i%65536, i*20, 101325+3*math.Sin(0.7*float64(i)), 3900-i%7)
		if _, err := out.WriteString(sentence(body)); err != nil {
			b.Fatal(err)
		}
	}
	if err := errors.Join(out.Flush(), f.Close()); err != nil {
		b.Fatal(err)
	}
}

// sentence adds the checksum of NMEA 0183: all bytes between $ and * by XOR.
func sentence(body string) string {
	var sum byte
	for i := range len(body) {
		sum ^= body[i]
	}
	return fmt.Sprintf("$%s*%02X\r\n", body, sum)
}

// BenchmarkImportLog runs the import as a person does and, in the same run, the
// straightforward script of the Python standard library on the same lines. It
// tells the most memory that the import had, which must not grow with the log.
func BenchmarkImportLog(b *testing.B) {
	python, err := exec.LookPath("python3")
	if err != nil {
		if os.Getenv("PADLARK_CI") != "" {
			b.Fatal("python3 is missing")
		}
		b.Skip("python3 is not installed")
	}
	n := benchLines(b)
	dir := b.TempDir()
	log := filepath.Join(dir, "pad.log")
	writePadLog(b, log, n)
	var ours, theirs time.Duration
	var peak int64
	for i := 0; b.Loop(); i++ {
		start := time.Now()
		data := filepath.Join(dir, fmt.Sprint("data", i))
		cmd := program(b.Context(), "import", log, "--layout", "lark-text", "--rocket", "Teal", "--data", data)
		if out, err := cmd.CombinedOutput(); err != nil {
			b.Fatalf("import: %v\n%s", err, out)
		}
		ours += time.Since(start)
		peak = max(peak, peakBytes(cmd.ProcessState))
		start = time.Now()
		out, err := exec.CommandContext(b.Context(), python, filepath.Join("..", "..", "testdata", "bench", "import_reference.py"), log, filepath.Join(dir, fmt.Sprint(i, ".db"))).CombinedOutput()
		if err != nil {
			b.Fatalf("%v\n%s", err, out)
		}
		if !strings.HasPrefix(string(out), fmt.Sprint(n, " 0 ")) {
			b.Fatalf("the reference read other lines: %s", out)
		}
		theirs += time.Since(start)
	}
	b.ReportMetric(float64(peak)/1e6, "MB-peak")
	b.ReportMetric(theirs.Seconds()/ours.Seconds(), "x-python")
	b.ReportMetric(float64(n)*float64(b.N)/ours.Seconds(), "lines/s")
}
