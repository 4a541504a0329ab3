package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
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

// padLog is a board's log on the pad, 50 lines a second.
func padLog(n int) []byte {
	var out bytes.Buffer
	for i := range n {
		body := fmt.Sprintf("PLRK,7,1,%d,%d,%.1f,2150,%d,1000,2", i%65536, i*20, 101325+3*math.Sin(0.7*float64(i)), 3900-i%7)
		out.WriteString(sentence(body))
	}
	return out.Bytes()
}

// sentence adds the checksum of NMEA 0183: all bytes between $ and * by XOR.
func sentence(body string) string {
	var sum byte
	for i := range len(body) {
		sum ^= body[i]
	}
	return fmt.Sprintf("$%s*%02X\r\n", body, sum)
}

// BenchmarkImportLog runs the import and, in the same run, the straightforward
// script of the Python standard library on the same lines.
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
	if err := os.WriteFile(log, padLog(n), 0o600); err != nil {
		b.Fatal(err)
	}
	var ours, theirs time.Duration
	for i := 0; b.Loop(); i++ {
		start := time.Now()
		data := filepath.Join(dir, fmt.Sprint("data", i))
		args := []string{"import", log, "--layout", "lark-text", "--rocket", "Teal", "--data", data}
		if code := run(context.Background(), args, strings.NewReader(""), io.Discard, io.Discard); code != exitOK {
			b.Fatalf("import: exit %d", code)
		}
		ours += time.Since(start)
		start = time.Now()
		out, err := exec.Command(python, filepath.Join("..", "..", "testdata", "bench", "import_reference.py"), log, filepath.Join(dir, fmt.Sprint(i, ".db"))).CombinedOutput()
		if err != nil {
			b.Fatalf("%v\n%s", err, out)
		}
		if !strings.HasPrefix(string(out), fmt.Sprint(n, " 0 ")) {
			b.Fatalf("the reference read other lines: %s", out)
		}
		theirs += time.Since(start)
	}
	b.ReportMetric(theirs.Seconds()/ours.Seconds(), "x-python")
	b.ReportMetric(float64(n)*float64(b.N)/ours.Seconds(), "lines/s")
}
