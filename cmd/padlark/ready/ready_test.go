package ready

import (
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/creack/pty"

	"padlark/cmd/padlark/config"
	"padlark/web"
)

// station is a configuration on which nothing is wrong but what a test adds.
func station(t *testing.T, more string) *config.Config {
	t.Helper()
	cfg, err := config.Parse("test.toml", []byte(`
[station]
name = "bench"
data = "`+filepath.ToSlash(t.TempDir())+`"
[web]
listen = "127.0.0.1:0"
`+more))
	if err != nil {
		t.Fatal(err)
	}
	return cfg
}

// finding is the one of a part.
func finding(t *testing.T, list []web.Finding, part string) web.Finding {
	t.Helper()
	for _, f := range list {
		if f.Part == part {
			return f
		}
	}
	t.Fatalf("nothing is said of %s: %v", part, list)
	return web.Finding{}
}

var day = time.Date(2026, 6, 13, 9, 0, 0, 0, time.UTC)

func TestLinks(t *testing.T) {
	board, port, err := pty.Open()
	if err != nil {
		t.Skip("no pseudo-terminal here:", err)
	}
	defer board.Close() //nolint:errcheck // only held open
	defer port.Close()  //nolint:errcheck // only held open
	held, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer held.Close() //nolint:errcheck // only held open
	answering, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer answering.Close() //nolint:errcheck // only held open
	gone, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	nobody := gone.Addr().String()
	if err := gone.Close(); err != nil {
		t.Fatal(err)
	}
	cfg := station(t, `
[[link]]
name = "there"
serial = "`+port.Name()+`"
baud = 9600
layout = "lark-text"
[[link]]
name = "missing"
serial = "/dev/padlark-none"
baud = 9600
layout = "lark-text"
[[link]]
name = "taken"
udp = "`+held.LocalAddr().String()+`"
layout = "lark-text"
[[link]]
name = "free"
udp = "127.0.0.1:0"
layout = "lark-text"
[[link]]
name = "bridge"
tcp = "`+answering.Addr().String()+`"
layout = "lark-text"
[[link]]
name = "off"
tcp = "`+nobody+`"
layout = "lark-text"
`)
	list := Run(t.Context(), cfg, Options{Now: day})
	for part, want := range map[string]struct{ state, mend string }{
		"link there": {Good, ""}, "link missing": {Bad, "padlark ports"}, "link taken": {Bad, "another port"},
		"link free": {Good, ""}, "link bridge": {Good, ""}, "link off": {Look, "tries again"}, "disk": {Good, ""}, "archive": {Good, ""},
	} {
		f := finding(t, list, part)
		if part == "disk" && f.State == Look {
			continue // a busy machine's disk may be slow
		}
		if f.State != want.state || !strings.Contains(f.Mend, want.mend) || f.Found == "" {
			t.Errorf("%s: %+v, want %s", part, f, want.state)
		}
	}
	if Worst(list) != Bad {
		t.Errorf("worst is %s", Worst(list))
	}
	// While the station runs, that it has its own port is no fault.
	if f := finding(t, Run(t.Context(), cfg, Options{Now: day, Running: true}), "link taken"); f.State != Good {
		t.Errorf("while it runs: %+v", f)
	}
	if left, err := filepath.Glob(filepath.Join(cfg.Station.Data, ".*")); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// The files are those of the kernel's classes power_supply, hwmon, thermal and
// rtc, with units as its documentation gives them: per cent, degC/1000
// (Documentation/ABI/testing/sysfs-class-power, sysfs-class-thermal; from memory).
func TestComputer(t *testing.T) {
	file := func(s string) *fstest.MapFile { return &fstest.MapFile{Data: []byte(s + "\n")} }
	for name, c := range map[string]struct {
		system fstest.MapFS
		now    time.Time
		part   string
		state  string
		says   string
	}{
		"voltage low":    {fstest.MapFS{"sys/class/hwmon/hwmon1/in0_lcrit_alarm": file("1")}, day, "power", Bad, "too little voltage"},
		"voltage enough": {fstest.MapFS{"sys/class/hwmon/hwmon1/in0_lcrit_alarm": file("0")}, day, "power", Good, "no warning"},
		"battery low": {fstest.MapFS{"sys/class/power_supply/b/type": file("Battery"), "sys/class/power_supply/b/capacity": file("12"),
			"sys/class/power_supply/b/status": file("Discharging")}, day, "power", Look, "12 %"},
		"battery charging": {fstest.MapFS{"sys/class/power_supply/b/type": file("Battery"), "sys/class/power_supply/b/capacity": file("12"),
			"sys/class/power_supply/b/status": file("Charging")}, day, "power", Good, "charging"},
		"mains only": {fstest.MapFS{"sys/class/power_supply/a/type": file("Mains")}, day, "power", Good, "no battery"},
		"warm":       {fstest.MapFS{"sys/class/thermal/thermal_zone0/temp": file("45000"), "sys/class/thermal/thermal_zone1/temp": file("71500")}, day, "heat", Look, "72 °C"},
		"hot":        {fstest.MapFS{"sys/class/thermal/thermal_zone0/temp": file("83000")}, day, "heat", Bad, "83 °C"},
		"cool":       {fstest.MapFS{"sys/class/thermal/thermal_zone0/temp": file("41000")}, day, "heat", Good, "41 °C"},
		"no battery": {fstest.MapFS{}, day, "clock", Look, "no battery"},
		"with one":   {fstest.MapFS{"sys/class/rtc/rtc0/name": file("x")}, day, "clock", Good, "2026"},
		"in 1970":    {fstest.MapFS{"sys/class/rtc/rtc0/name": file("x")}, time.Unix(100, 0), "clock", Look, "cannot be"},
		"memory":     {fstest.MapFS{"proc/meminfo": file("MemTotal: 900000 kB\nMemAvailable:  51200 kB")}, day, "memory", Look, "50 MB"},
	} {
		t.Run(name, func(t *testing.T) {
			cfg := station(t, "[[link]]\nname = \"free\"\nudp = \"127.0.0.1:0\"\nlayout = \"lark-text\"\n")
			f := finding(t, Run(t.Context(), cfg, Options{System: c.system, Now: c.now}), c.part)
			if f.State != c.state || !strings.Contains(f.Found, c.says) || (f.State != Good) != (f.Mend != "") {
				t.Errorf("%+v, want %s with %q", f, c.state, c.says)
			}
		})
	}
}

func TestSecrets(t *testing.T) {
	token := filepath.Join(t.TempDir(), "token")
	if err := os.WriteFile(token, []byte("hush\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	cfg := station(t, "[[link]]\nname = \"free\"\nudp = \"127.0.0.1:0\"\nlayout = \"lark-text\"\n[bus]\nlisten = \"127.0.0.1:0\"\ntoken_file = \""+token+"\"\n")
	if f := finding(t, Run(t.Context(), cfg, Options{Now: day}), "secret "+token); f.State != Look || !strings.Contains(f.Mend, "chmod") {
		t.Errorf("readable by everybody: %+v", f)
	}
	if err := os.Chmod(token, 0o600); err != nil {
		t.Fatal(err)
	}
	if f := finding(t, Run(t.Context(), cfg, Options{Now: day}), "secret "+token); f.State != Good {
		t.Errorf("readable by its owner: %+v", f)
	}
}
