package guess_test

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/decode/guess"
)

// Two dozen made-up boards: framing, separator, checksum, and the meaning and unit of
// each field are found; the proposal is a configuration that is accepted, and reads
// what the board sends.
func TestMadeUpBoards(t *testing.T) {
	for _, b := range boards() {
		t.Run(b.name, func(t *testing.T) {
			bytes, messages, seconds := b.input()
			g, err := guess.Look(guess.Input{Bytes: bytes, Messages: messages, Seconds: seconds})
			if err != nil {
				t.Fatal(err)
			}
			link := `serial = "/dev/ttyUSB0"` + "\nbaud = 57600"
			if b.messages {
				link = `udp = ":9750"`
			}
			text := g.TOML("a test", link)
			if t.Failed() || testing.Verbose() {
				t.Log("\n" + text)
			}
			cfg, err := config.Parse("proposal.toml", []byte(text))
			if err != nil {
				t.Fatalf("the proposal is refused: %v\n%s", err, text)
			}
			for _, line := range strings.Split(text, "\n") {
				if n := len([]rune(line)); n > 80 {
					t.Errorf("%d columns: %s", n, line)
				}
			}
			if g.BuiltIn != b.builtIn {
				t.Errorf("built in: %q, want %q", g.BuiltIn, b.builtIn)
			}
			if 100*g.Read < 95*g.Frames || g.Frames < 30 {
				t.Errorf("it reads %d of %d frames", g.Read, g.Frames)
			}
			if b.builtIn != "" {
				return
			}
			l, ok := cfg.Layout("my-board")
			if !ok || len(l.Fields) != len(g.Layout.Fields) {
				t.Fatalf("layout %+v", l)
			}
			if l.Checksum.Kind != b.checksum {
				t.Errorf("checksum %q, want %q", l.Checksum.Kind, b.checksum)
			}
			units := map[string]string{}
			for _, f := range l.Fields {
				units[f.Name] = f.Unit
			}
			for _, w := range strings.Fields(b.want) {
				name, unit, _ := strings.Cut(w, ":")
				if got, ok := units[name]; !ok || got != unit {
					t.Errorf("field %s in %q, want %q (fields %v)", name, got, unit, units)
				}
			}
			var asks []string
			asks = append(asks, g.Asks...)
			for _, c := range g.Columns {
				asks = append(asks, c.Ask)
			}
			if !strings.Contains(strings.Join(asks, "\n"), b.asks) {
				t.Errorf("it asks %q, not %q", asks, b.asks)
			}
			if pa, ok := g.Values.Get(decode.PressurePa); strings.Contains(b.want, decode.PressurePa) && (!ok || math.Abs(pa-98200) > 600) {
				t.Errorf("the frame that is shown has %g Pa", pa)
			}
		})
	}
}

// Logs of boards that others flew: what their titles and notes say is what is found.
func TestRecordedBoards(t *testing.T) {
	for file, want := range map[string]string{
		"hermes-flight4": "clock:s pressure_pa:hPa temperature_c:degC altitude_m:m accel_x_mps2:m/s2 latitude_deg:deg gps_altitude_m:m",
		"ncsu-jackpot3":  "clock:s temperature_c:degC pressure_pa:Pa accel_x_mps2:g accel_z_mps2:g",
		"orion-flight3":  "clock:ms accel_mps2:m/s2 accel_x_mps2:m/s2 temperature_c:degC altitude_m:m",
		"tokai-h57":      "clock:s pressure_pa:Pa temperature_c:degC altitude_m:m accel_x_mps2:g cell_v:V",
	} {
		t.Run(file, func(t *testing.T) {
			b, err := os.ReadFile(filepath.Join("..", "..", "..", "shared", "flights", file+".csv"))
			if err != nil {
				t.Skipf("the recorded flights are kept beside the repository: %v", err)
			}
			g, err := guess.Look(guess.Input{Bytes: b})
			if err != nil {
				t.Fatal(err)
			}
			units := map[string]string{}
			for _, f := range g.Layout.Fields {
				units[f.Name] = f.Unit
			}
			for _, w := range strings.Fields(want) {
				name, unit, _ := strings.Cut(w, ":")
				if got, ok := units[name]; !ok || got != unit {
					t.Errorf("field %s in %q, want %q (fields %v)", name, got, unit, units)
				}
			}
			if g.Read != g.Frames || g.Read < 500 {
				t.Errorf("it reads %d of %d", g.Read, g.Frames)
			}
			if _, err := config.Parse("proposal.toml", []byte(g.TOML(file, `file = "x"`))); err != nil {
				t.Error(err)
			}
		})
	}
}

// What cannot be guessed is said, with what to do.
func TestNoGuess(t *testing.T) {
	noise := make([]byte, 4000)
	x := uint32(1)
	for i := range noise {
		x = x*1664525 + 1013904223 // a generator of the textbooks
		noise[i] = byte(x >> 24)
	}
	for name, c := range map[string]struct {
		in   guess.Input
		says string
	}{
		"nothing":   {guess.Input{}, "is the board on"},
		"noise":     {guess.Input{Bytes: noise}, "is the baud rate right"},
		"prose":     {guess.Input{Bytes: []byte(strings.Repeat("hello\r\nready to fly today\r\n", 20))}, "no fields in common"},
		"two lines": {guess.Input{Bytes: []byte("1,2,3\n4,5,6\n")}, "too few"},
	} {
		if g, err := guess.Look(c.in); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, %v; want an error with %q", name, g, err, c.says)
		}
	}
}

func FuzzLook(f *testing.F) {
	for _, b := range boards() {
		bytes, _, _ := b.input()
		f.Add(bytes[:min(len(bytes), 600)])
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		g, err := guess.Look(guess.Input{Bytes: b})
		if err != nil {
			return
		}
		if g.Read > g.Frames {
			t.Errorf("%d of %d", g.Read, g.Frames)
		}
		if text := g.TOML("a test", `file = "x"`); g.Read > 0 {
			if _, err := config.Parse("proposal.toml", []byte(text)); err != nil {
				t.Errorf("refused: %v\n%s", err, text)
			}
		}
	})
}
