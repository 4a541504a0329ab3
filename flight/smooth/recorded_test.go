package smooth_test

import (
	"bufio"
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"padlark/decode"
)

// recording is a log of a real flight and how its columns are read.
type recording struct {
	file     string
	sep      string
	timeCol  int
	timeUnit float64 // s
	valueCol int
	unit     float64 // Pa or m
	name     string
}

// recordings are openly licensed logs of boards that students built. Beside them
// lies where each is from, its licence, and what is known of its truth.
func recordings() []recording {
	return []recording{
		{"hermes-flight4.csv", ";", 0, 1, 2, 100, decode.PressurePa},
		{"orion-flight3.csv", ",", 0, 1e-3, 11, 1, decode.AltitudeM},
		{"tokai-h57.csv", ",", 0, 1, 4, 1, decode.PressurePa},
		{"ncsu-jackpot3.csv", ",", 0, 1, 2, 1, decode.PressurePa},
	}
}

// recordedEpoch is taken for the start of every log: the files have none that
// matters.
var recordedEpoch = time.Date(2026, 6, 7, 9, 0, 0, 0, time.UTC)

// load reads a recording, from the project's test data or from a folder of shared
// files beside the working tree; the test is skipped where it is in neither.
func (c recording) load(t *testing.T) []decode.Sample {
	t.Helper()
	var file *os.File
	for _, dir := range []string{"../../testdata/recorded", "../../../shared/flights"} {
		f, err := os.Open(filepath.Join(dir, c.file))
		if err == nil {
			file = f
			break
		}
		if !errors.Is(err, fs.ErrNotExist) {
			t.Fatal(err)
		}
	}
	if file == nil {
		t.Skip(c.file, "is not here: its licence does not let it be copied into the project")
	}
	defer file.Close() //nolint:errcheck // only read from
	var samples []decode.Sample
	first := math.NaN()
	lines := bufio.NewScanner(file)
	for n := 1; lines.Scan(); n++ {
		col := strings.Split(lines.Text(), c.sep)
		if len(col) <= max(c.timeCol, c.valueCol) {
			continue
		}
		at, err1 := strconv.ParseFloat(strings.TrimSpace(col[c.timeCol]), 64)
		v, err2 := strconv.ParseFloat(strings.TrimSpace(col[c.valueCol]), 64)
		if err1 != nil || err2 != nil {
			continue // the header
		}
		at *= c.timeUnit
		if math.IsNaN(first) {
			first = at
		}
		when := recordedEpoch.Add(time.Duration((at - first) * 1e9))
		samples = append(samples, decode.Sample{Session: "recorded", Link: "log", N: uint64(n), Rocket: "Recorded", Boot: 1, Seq: -1,
			Clock: int64((at - first) * 1e6), Heard: when, At: when, Passed: int64((at - first) * 1e9),
			Values: decode.Channels{Names: []string{c.name}, Values: []float64{v * c.unit}}})
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
	return samples
}
