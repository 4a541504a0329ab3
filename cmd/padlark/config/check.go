package config

import (
	"errors"
	"fmt"
	"net"
	"slices"
	"sort"
	"strings"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/ingest"
)

// problem is one thing that is wrong, with the path of the key to blame.
type problem struct {
	path string
	err  error
}

func problemf(path, format string, args ...any) *problem {
	return &problem{path, fmt.Errorf(format, args...)}
}

// within makes a problem of an error from the package that owns the table.
func within(table string, err error) *problem {
	var link *ingest.ConfigError
	var layout *decode.LayoutError
	switch {
	case errors.As(err, &link) && link.Field != "":
		table += "." + link.Field
	case errors.As(err, &layout):
		if layout.Index >= 0 {
			table += fmt.Sprintf(".fields[%d]", layout.Index)
		}
		if layout.Key != "" {
			table += "." + layout.Key
		}
	}
	return &problem{table, err}
}

// check returns the first problem, nil if there is none.
func (c *Config) check() *problem {
	return firstOf(c.checkStation, c.checkLayouts, c.checkLinks, c.checkRockets, c.checkSite,
		c.checkBus, c.checkInflux, c.checkWeb, c.checkCallout, c.checkAlarm, c.checkPorts, c.checkNumbers)
}

// checkPart is check for a configuration that need not name a link.
func (c *Config) checkPart() *problem {
	if len(c.Links) > 0 {
		return c.check()
	}
	return firstOf(c.checkStation, c.checkLayouts, c.checkRockets, c.checkSite,
		c.checkBus, c.checkInflux, c.checkWeb, c.checkCallout, c.checkAlarm, c.checkPorts, c.checkNumbers)
}

func firstOf(checks ...func() *problem) *problem {
	for _, check := range checks {
		if p := check(); p != nil {
			return p
		}
	}
	return nil
}

func (c *Config) checkStation() *problem {
	if strings.ContainsAny(c.Station.Name, " .*>\t/") {
		return problemf("station.name", "station name %q: use letters, digits, - and _ only; it becomes part of bus subjects", c.Station.Name)
	}
	return nil
}

func (c *Config) checkLayouts() *problem {
	seen := map[string]bool{}
	for i := range c.Layouts {
		l := &c.Layouts[i]
		table := fmt.Sprintf("layout[%d]", i)
		if l.Name == "" {
			return problemf(table, "a layout needs a name, for links to refer to")
		}
		if l.Name == "lark-text" || l.Name == "lark-bin" {
			return problemf(table+".name", "layout %q is built in: give yours another name", l.Name)
		}
		if seen[l.Name] {
			return problemf(table+".name", "two layouts are named %q: rename one", l.Name)
		}
		seen[l.Name] = true
		if _, err := decode.Compile(*l, c.AllLayouts()); err != nil {
			return within(table, err)
		}
	}
	return nil
}

// AllLayouts are the built-in layouts and the configured ones.
func (c *Config) AllLayouts() []decode.Layout { return slices.Concat(c.builtin, c.Layouts) }

// layoutNames lists what a link may name, sorted.
func (c *Config) layoutNames() []string {
	var names []string
	for _, l := range c.AllLayouts() {
		names = append(names, l.Name)
	}
	sort.Strings(names)
	return names
}

// Layout finds a layout by name, the built-in ones included.
func (c *Config) Layout(name string) (decode.Layout, bool) {
	for _, l := range c.AllLayouts() {
		if l.Name == name {
			return l, true
		}
	}
	return decode.Layout{}, false
}

func (c *Config) checkLinks() *problem {
	if len(c.Links) == 0 {
		return problemf("", "no [[link]]: name at least one port or socket to listen to")
	}
	seen := map[string]bool{}
	for i, l := range c.Links {
		table := fmt.Sprintf("link[%d]", i)
		if err := l.Validate(); err != nil {
			return within(table, err)
		}
		if seen[l.Name] {
			return problemf(table+".name", "two links are named %q: rename one", l.Name)
		}
		seen[l.Name] = true
		if l.Layout == "" {
			return problemf(table, "link %q has no layout: add layout = \"NAME\", one of %s", l.Name, strings.Join(c.layoutNames(), ", "))
		}
		if _, ok := c.Layout(l.Layout); !ok {
			return problemf(table+".layout", "link %q: there is no layout %q; there are %s", l.Name, l.Layout, strings.Join(c.layoutNames(), ", "))
		}
	}
	return nil
}

func (c *Config) checkRockets() *problem {
	names, ids := map[string]bool{}, map[uint32]string{}
	for i, r := range c.Rockets {
		table := fmt.Sprintf("rocket[%d]", i)
		if r.Name == "" {
			return problemf(table, "a rocket needs a name")
		}
		if names[r.Name] {
			return problemf(table+".name", "two rockets are named %q: rename one", r.Name)
		}
		names[r.Name] = true
		if r.ID != nil {
			if other, taken := ids[*r.ID]; taken {
				return problemf(table+".id", "rockets %q and %q have the same id %d: give each board its own", other, r.Name, *r.ID)
			}
			ids[*r.ID] = r.Name
		}
		if err := alarm.CheckRocket(r); err != nil {
			return within(table, err)
		}
		if p := checkBottle(table, r); p != nil {
			return p
		}
	}
	return nil
}

// checkBottle looks for values in the wrong unit: bottles of hobby rockets
// hold tenths of a litre to some tens.
func checkBottle(table string, r flight.Rocket) *problem {
	for _, k := range []struct {
		key, unit   string
		v, min, max float64
	}{
		{"bottle_l", "litres", r.BottleL, 0.05, 50},
		{"nozzle_m", "m", r.NozzleM, 0.002, 0.1},
		{"rating_bar", "bar above the air", r.RatingBar, 0.5, 30},
		{"discharge", "(the part of the mouth that the jet fills)", r.Discharge, 0.3, 1},
	} {
		switch {
		case k.v == 0:
		case !(k.v >= k.min && k.v <= k.max):
			return problemf(table+"."+k.key, "%s = %g: must be between %g and %g %s", k.key, k.v, k.min, k.max, k.unit)
		case r.Kind == "solid":
			return problemf(table+"."+k.key, "%s is of a water rocket, and kind is \"solid\": leave one of them out", k.key)
		}
	}
	return nil
}

func (c *Config) checkSite() *problem {
	s := c.Site
	for _, r := range []struct {
		key, unit string
		v         *float64
		min, max  float64
	}{
		{"elevation_m", "m above sea level", s.ElevationM, -430, 6000},
		{"temperature_c", "°C", s.TemperatureC, -50, 60},
		{"pressure_pa", "Pa", s.PressurePa, 40000, 110000},
		{"humidity", "(relative, 0 to 1)", s.Humidity, 0, 1},
		{"latitude_deg", "°", s.LatitudeDeg, -90, 90},
		{"longitude_deg", "°", s.LongitudeDeg, -180, 180},
		{"field_radius_m", "m", &s.FieldRadiusM, 0, 20000},
		{"wind_mps", "m/s", &s.WindMps, 0, 60},
	} {
		if r.v != nil && !(*r.v >= r.min && *r.v <= r.max) {
			return problemf("site."+r.key, "%s = %g: must be between %g and %g %s", r.key, *r.v, r.min, r.max, r.unit)
		}
	}
	if (s.LatitudeDeg == nil) != (s.LongitudeDeg == nil) {
		return problemf("site", "give latitude_deg and longitude_deg together")
	}
	return nil
}

func (c *Config) checkBus() *problem {
	b := c.Bus
	if b.Leaf != "" {
		return problemf("bus.leaf", "there is no leaf any more: write url = %q with the servers' client port (4222, say); the station keeps what it hears while it is cut off, and sends it when it is back", b.Leaf)
	}
	if b.Listen != "" {
		host, _, err := port(b.Listen)
		if err != nil {
			return problemf("bus.listen", "listen = %q: write host:port, such as \"127.0.0.1:4222\"", b.Listen)
		}
		if !isLoopback(host) && b.TokenFile == "" {
			return problemf("bus.listen", "listen = %q can be reached from elsewhere and needs bus.token_file, a file with a long word that every client must know", b.Listen)
		}
	}
	for one := range strings.SplitSeq(b.URL, ",") {
		if b.URL == "" {
			break
		}
		if p := checkURL("bus.url", one, "nats://host:4222", "nats", "tls", "ws", "wss"); p != nil {
			return p
		}
	}
	if !(b.MaxAgeHours > 0 && b.MaxAgeHours <= mostHours) {
		return problemf("bus.max_age_hours", "max_age_hours = %g: must be above 0 and at most %d", b.MaxAgeHours, mostHours)
	}
	if b.MaxMB < 16 || b.MaxMB > mostMB {
		return problemf("bus.max_mb", "max_mb = %d: must be between 16 and %d", b.MaxMB, mostMB)
	}
	if b.Replicas < 1 || b.Replicas > 5 {
		return problemf("bus.replicas", "replicas = %d: between 1 and 5", b.Replicas)
	}
	return nil
}

func (c *Config) checkInflux() *problem {
	i := c.Storage.Influx
	if i == nil {
		return nil
	}
	for _, need := range []struct{ key, v string }{{"url", i.URL}, {"bucket", i.Bucket}} {
		if need.v == "" {
			return problemf("storage.influx", "storage.influx needs %s", need.key)
		}
	}
	if p := checkURL("storage.influx.url", i.URL, "http://host:8086", "http", "https"); p != nil {
		return p
	}
	if i.TokenFile != "" && i.TokenEnv != "" {
		return problemf("storage.influx.token_env", "give token_file or token_env, not both")
	}
	return nil
}

// isLoopback says whether a host is reached from this computer only.
func isLoopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// Bounds of what the bus keeps: a century, and a petabyte.
const (
	mostHours = 876_000
	mostMB    = 1 << 30
)

func (c *Config) checkWeb() *problem {
	if c.Web.Listen == "off" {
		return nil
	}
	host, _, err := port(c.Web.Listen)
	if err != nil {
		return problemf("web.listen", "listen = %q: write host:port, such as \"127.0.0.1:9700\", or \"off\"", c.Web.Listen)
	}
	if !isLoopback(host) && c.Web.Passphrase == "" {
		return problemf("web.listen", "listen = %q can be reached from elsewhere and needs web.passphrase (padlark passphrase makes one)", c.Web.Listen)
	}
	return nil
}

func (c *Config) checkCallout() *problem {
	if err := c.Callout.Validate(); err != nil {
		return &problem{"callout", err}
	}
	return nil
}

// Rocket finds a configured rocket; a bare one if nobody configured it.
func (c *Config) Rocket(name string) flight.Rocket {
	for _, r := range c.Rockets {
		if r.Name == name {
			return r
		}
	}
	return flight.Rocket{Name: name}
}

func (c *Config) checkAlarm() *problem {
	if err := c.Alarm.Validate(); err != nil {
		return &problem{"alarm", err}
	}
	return nil
}
