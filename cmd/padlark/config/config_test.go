package config

import (
	"errors"
	"strings"
	"testing"
)

const good = `
[station]
name = "north-field"

[[link]]
name = "pad-radio"
serial = "/dev/padlark-radio"
baud = 9600
layout = "lark-bin"

[[link]]
name = "bench"
udp = ":9750"
layout = "my-board"

[[layout]]
name = "my-board"
framing = "line"
form = "delimited"
fields = [
  { name = "rocket" },
  { name = "clock", unit = "ms" },
  { name = "pressure_pa", unit = "hPa" },
]

[[rocket]]
name = "Teal"
id = 7
cell = "lipo-1s"
release = "servo"
parachute_m = 0.6
mass_kg = 0.145

[site]
elevation_m = 212
temperature_c = 18
`

func TestParseGood(t *testing.T) {
	c, err := Parse("padlark.toml", []byte(good))
	if err != nil {
		t.Fatal(err)
	}
	if c.Station.Name != "north-field" || len(c.Links) != 2 || len(c.Rockets) != 1 || *c.Rockets[0].ID != 7 {
		t.Errorf("read %+v", c)
	}
	if c.Web.Listen != "127.0.0.1:9700" {
		t.Errorf("web.listen defaults to %q, want loopback", c.Web.Listen)
	}
	both := strings.Replace(good, "[site]", "[bus]\nurl = \"nats://h:4222\"\nlisten = \"127.0.0.1:4222\"\n[site]", 1)
	if _, err := Parse("padlark.toml", []byte(both)); err != nil {
		t.Errorf("a live bus and an uplink: %v", err)
	}
	if _, ok := c.Layout("lark-text"); !ok {
		t.Error("the built-in layout lark-text is missing")
	}
}

// Each error names the file, the line and the column of what is wrong, and the mend.
func TestParseBad(t *testing.T) {
	for _, c := range []struct {
		name, from, to string
		where          string // of the error
		says           []string
	}{
		{"unknown key", `baud = 9600`, `baudd = 9600`, "padlark.toml:8:1", []string{`unknown key "link.baudd"`}},
		{"unknown table", `[site]`, `[sight]`, "padlark.toml:34:2", []string{"sight"}},
		{"not TOML", `id = 7`, `id = `, "padlark.toml:28:", nil},
		{"wrong type", `baud = 9600`, `baud = "fast"`, "padlark.toml:8:1", []string{`baud = "fast"`, "a whole number"}},
		{"wrong type of a list", `id = 7`, `id = [7]`, "padlark.toml:28:1", []string{"a whole number from 0 to 4294967295"}},
		{"negative id", `id = 7`, `id = -7`, "padlark.toml:28:1", []string{"id = -7"}},
		{"unknown field key", `unit = "hPa"`, `units = "hPa"`, "padlark.toml:23:27", []string{`did you mean "unit"`}},
		{"missing layout", `layout = "my-board"`, `layout = "my-bord"`, "padlark.toml:14:1", []string{"my-bord", "lark-bin", "my-board"}},
		{"unknown unit", `unit = "hPa"`, `unit = "hpascal"`, "padlark.toml:23:", []string{"hpascal", "hPa"}},
		{"wrong quantity", `unit = "hPa"`, `unit = "mV"`, "padlark.toml:23:", []string{"mV", "hPa"}},
		{"nine volts for a servo", `cell = "lipo-1s"`, `cell = "9v"`, "padlark.toml:29:1", []string{"9"}},
		{"two links of a name", `name = "bench"`, `name = "pad-radio"`, "padlark.toml:12:1", []string{"pad-radio"}},
		{"half a certificate", `[site]`, "[web]\ncert = \"web.pem\"\n[site]", "padlark.toml:35:1", []string{"cert and key"}},
		{"elevation", `elevation_m = 212`, `elevation_m = 21200`, "padlark.toml:35:1", []string{"21200", "6000 m"}},
		{"two addresses", `udp = ":9750"`, "udp = \":9750\"\ntcp = \"localhost:1\"", "padlark.toml:1", []string{"contradicts"}},
		{"bus link without a bus", `udp = ":9750"`, `nats = "boards.teal"`, "padlark.toml:13:1", []string{"nobody can reach", "under [bus]"}},
		{"one port twice", `udp = ":9750"`, `mqtt_listen = "127.0.0.1:9700"`, "padlark.toml: link", []string{"both listen on tcp port 9700"}},
		{"other framing", `layout = "my-board"`, "layout = \"my-board\"\nalso = [\"lark-bin\"]", "padlark.toml:15:1", []string{"another framing"}},
		{"no such layout", `layout = "my-board"`, "layout = \"my-board\"\nalso = [\"x\"]", "padlark.toml:15:1", []string{`no layout "x"`}},
		{"leaf", `[site]`, "[bus]\nleaf = \"nats://h:7422\"\n[site]", "padlark.toml:35:1", []string{"no leaf any more", "url = "}},
		{"no address", `[site]`, "[bus]\nurl = \"my server\"\n[site]", "padlark.toml:35:1", []string{"nats://host:4222"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := strings.Replace(good, c.from, c.to, 1)
			if text == good {
				t.Fatalf("%q is not in the good configuration", c.from)
			}
			_, err := Parse("padlark.toml", []byte(text))
			if err == nil {
				t.Fatal("no error")
			}
			if !strings.HasPrefix(err.Error(), c.where) {
				t.Errorf("error %q does not begin with %s", err, c.where)
			}
			for _, s := range c.says {
				if !strings.Contains(err.Error(), s) {
					t.Errorf("error %q does not say %q", err, s)
				}
			}
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("error %q has more than one line", err)
			}
		})
	}
}

// All mistakes are told at once, each at its own key, in the order of the file, and
// none that only comes of another.
func TestParseAllAtOnce(t *testing.T) {
	text := good
	for _, change := range [][2]string{
		{`baud = 9600`, `baud = "fast"`}, {`unit = "hPa"`, `unit = "mV"`}, {`{ name = "clock", unit = "ms" }`, `{ name = "clock", unit = "mm" }`},
		{`cell = "lipo-1s"`, `cell = "lipo"`}, {`mass_kg = 0.145`, `mass_kg = 145`}, {`elevation_m = 212`, `elevation = 212`},
		{`temperature_c = 18`, `temperature_c = 1800`}, {`parachute_m = 0.6`, `parachute_m = "0.6 m"`},
	} {
		was := text
		if text = strings.Replace(text, change[0], change[1], 1); text == was {
			t.Fatalf("%q is not in the good configuration", change[0])
		}
	}
	_, err := Parse("padlark.toml", []byte(text))
	var all Errors
	if !errors.As(err, &all) {
		t.Fatalf("%T: %v", err, err)
	}
	want := []string{
		`padlark.toml:8:1: baud = "fast": write a whole number`,
		`padlark.toml:22:21: layout "my-board": field 2 "clock": unit: unit "mm" is not one of time`,
		`padlark.toml:23:27: layout "my-board": field 3 "pressure_pa": unit: unit "mV" measures voltage`,
		`padlark.toml:29:1: rocket "Teal": cell "lipo" is not known`,
		`padlark.toml:31:1: parachute_m = "0.6 m": write a number`,
		`padlark.toml:32:1: rocket "Teal": mass_kg = 145 is out of range`,
		`padlark.toml:35:1: unknown key "site.elevation": did you mean "elevation_m"?`,
		`padlark.toml:36:1: temperature_c = 1800: must be between`,
	}
	for i, e := range all {
		if i >= len(want) || !strings.HasPrefix(e.Error(), want[i]) {
			t.Errorf("%d: %v", i, e)
		}
	}
	if len(all) != len(want) {
		t.Errorf("%d are told, want %d:\n%v", len(all), len(want), err)
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(good))
	f.Add([]byte("[[link]]\nusb = {vid = \"10C4\"}\n"))
	f.Add([]byte("a.b = [ {c = 1}, {c = [1,2]} ]\n[[x]]\n[x.y]\nz=1"))
	f.Fuzz(func(t *testing.T, b []byte) {
		c, err := Parse("f", b)
		if (c == nil) == (err == nil) {
			t.Fatalf("config %v with error %v", c, err)
		}
		findPositions(b)
	})
}
