package block

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestReadElsewhere: what doc.go says of the form is enough to read a block without this
// program: read.py was written by it, in Python, with zstd as the only tool.
func TestReadElsewhere(t *testing.T) {
	for _, tool := range []string{"python3", "zstd"} {
		if _, err := exec.LookPath(tool); err != nil {
			if os.Getenv("PADLARK_CI") == "1" {
				t.Fatal(err)
			}
			t.Skip("needs ", tool)
		}
	}
	c := codec(t)
	dir := t.TempDir()
	var paths []string
	var want []map[string][]any
	put := func(block []byte, err error, columns map[string][]any) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, fmt.Sprint(len(paths)))
		if err := os.WriteFile(path, block, 0o600); err != nil {
			t.Fatal(err)
		}
		paths, want = append(paths, path), append(want, columns)
	}
	// Each form of a column: one number, even steps, differences, differences of those,
	// and beside another; whole numbers over a power of ten and times one, four bytes,
	// eight bytes, one value, rows without.
	r := rand.New(rand.NewPCG(1, 2))
	for _, rows := range []int{1, 90, 700} {
		s, f := &Samples{}, &Frames{}
		for i := range rows {
			n := int64(i)
			for k, v := range []int64{n + 5, 1, n*n/3 + r.Int64N(2), n*20_000 + r.Int64N(3), n*n*100 + r.Int64N(9), 0, 0} {
				*s.ints()[k] = append(*s.ints()[k], v)
			}
			s.Mono[i], s.Passed[i] = s.At[i]+r.Int64N(3), s.At[i]+r.Int64N(5)
			if i%3 > 0 {
				s.RSSI.Put(i, -80.5)
			}
			s.Channel("pressure_pa", 0).Put(i, 101325-float64(i)/10)
			s.Channel("other", 1).Put(i, math.Sqrt(float64(i)))
			s.Channel("single", 2).Put(i, float64(float32(r.NormFloat64()*1e-7)))
			s.Channel("times", 3).Put(i, float64(3*i+7)*1e-3)
			s.Channel("same", 4).Put(i, 4.1)
			for k, v := range []int64{n + 1, n * 20_000_000, n*20_000_000 + r.Int64N(9), n + 1, 0, 3, 9600} {
				*f.ints()[k] = append(*f.ints()[k], v)
			}
			b := []byte{1, 2, byte(i), byte(r.IntN(256))}
			if rows == 90 {
				b = fmt.Appendf(nil, "$A,%d", i*i)
			}
			f.Bytes = append(f.Bytes, b)
		}
		block, err := c.EncodeSamples(s)
		put(block, err, map[string][]any{
			"0": whole(s.N), "10": whole(s.Boot), "11": whole(s.Seq), "12": whole(s.Clock), "13": whole(s.At), "1": whole(s.Mono), "2": whole(s.Passed),
			"7": parts(&s.RSSI, rows), "32": parts(&s.Channels[0].Values, rows), "other": parts(&s.Channels[1].Values, rows),
			"single": parts(&s.Channels[2].Values, rows), "times": parts(&s.Channels[3].Values, rows), "same": parts(&s.Channels[4].Values, rows),
		})
		columns := map[string][]any{"0": whole(f.N), "1": whole(f.Mono), "2": whole(f.Passed), "3": whole(f.Ord), "4": whole(f.Off), "5": whole(f.Wire), "6": whole(f.Baud)}
		for _, b := range f.Bytes {
			bytes := make([]any, len(b))
			for i := range b {
				bytes[i] = float64(b[i])
			}
			columns["8"], columns["9"] = append(columns["8"], float64(len(b))), append(columns["9"], bytes)
		}
		block, err = c.EncodeFrames(f)
		put(block, err, columns)
	}
	cmd := exec.CommandContext(t.Context(), "python3", append([]string{"read.py"}, paths...)...)
	cmd.Stderr = t.Output()
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	read := json.NewDecoder(out)
	for i := range want {
		var got map[string][]any
		if err := read.Decode(&got); err != nil {
			t.Fatal(i, err)
		}
		for id, v := range want[i] {
			if id != "7" || len(v) > 1 { // of one row no signal is known
				if d := cmp.Diff(v, got[id]); d != "" {
					t.Errorf("block %d, column %s (-want +got):\n%.600s", i, id, d)
				}
			}
		}
	}
	if err := cmd.Wait(); err != nil {
		t.Error(err)
	}
}

func whole(v []int64) (out []any) {
	for _, x := range v {
		out = append(out, float64(x))
	}
	return out
}

func parts(v *Values, rows int) (out []any) {
	for i := range rows {
		if x, ok := v.At(i); ok {
			out = append(out, x)
		} else {
			out = append(out, nil)
		}
	}
	return out
}
