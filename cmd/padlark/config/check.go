package config

import (
	"errors"
	"fmt"
	"net"
	"reflect"
	"slices"
	"sort"
	"strings"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/flight/phrase"
	"padlark/ingest"
	"padlark/watch/callout"
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

// same says that another problem is this one.
func (p *problem) same(q *problem) bool { return p.path == q.path && p.err.Error() == q.err.Error() }

// blamed makes a problem of an error that begins with the key that it is about;
// without one, the table is to blame.
func blamed(table string, t reflect.Type, err error) *problem {
	known := tomlFields(t)
	text := err.Error()
	if _, after, ok := strings.Cut(text, "\": "); ok { // behind whose it is
		text = after
	}
	for _, word := range strings.FieldsFunc(text, func(r rune) bool { return r != '_' && (r < 'a' || r > 'z') && (r < '0' || r > '9') }) {
		if _, ok := known[word]; ok {
			return &problem{table + "." + word, err}
		}
	}
	return &problem{table, err}
}

// check returns all problems that can be seen at once.
func (c *Config) check() []*problem {
	found := c.checkPart()
	if len(c.Links) == 0 {
		found = append(found, problemf("", "no [[link]]: name at least one port or socket to listen to"))
	}
	return found
}

// checkPart is check for a configuration that need not name a link.
func (c *Config) checkPart() []*problem {
	found := slices.Concat(c.checkLayouts(), c.checkLinks(), c.checkRockets())
	for _, check := range []func() *problem{
		c.checkStation, c.checkSite, c.checkBus, c.checkInflux, c.checkWeb, c.checkCallout, c.checkAlarm, c.checkPorts, c.checkNumbers,
	} {
		if p := check(); p != nil {
			found = append(found, p)
		}
	}
	return found
}

func (c *Config) checkStation() *problem {
	if u := c.Station.Units; u != "" && u != "metric" && u != "feet" {
		return problemf("station.units", "units %q are not known; give metric or feet", u)
	}
	if !slices.Contains(phrase.Languages(), c.Station.Language) {
		return problemf("station.language", "language %q is not known; give one of %s", c.Station.Language, fmt.Sprint(phrase.Languages()))
	}
	if strings.ContainsAny(c.Station.Name, " .*>\t/") {
		return problemf("station.name", "station name %q: use letters, digits, - and _ only; it becomes part of bus subjects", c.Station.Name)
	}
	return nil
}

func (c *Config) checkLayouts() (found []*problem) {
	seen := map[string]bool{}
	for i := range c.Layouts {
		l := &c.Layouts[i]
		table := fmt.Sprintf("layout[%d]", i)
		switch {
		case l.Name == "":
			found = append(found, problemf(table, "a layout needs a name, for links to refer to"))
			continue
		case l.Name == decode.LarkText || l.Name == decode.LarkBin:
			found = append(found, problemf(table+".name", "layout %q is built in: give yours another name", l.Name))
			continue
		case seen[l.Name]:
			found = append(found, problemf(table+".name", "two layouts are named %q: rename one", l.Name))
		}
		seen[l.Name] = true
		for _, err := range compileErrors(*l, c.AllLayouts()) {
			found = append(found, within(table, err))
		}
	}
	return found
}

// compileErrors finds what is wrong with each field of a layout, by passing over
// those that are known to be wrong.
func compileErrors(l decode.Layout, others []decode.Layout) (found []error) {
	l.Fields = slices.Clone(l.Fields)
	tried := map[int]bool{}
	for {
		_, err := decode.Compile(l, others)
		var of *decode.LayoutError
		inField := errors.As(err, &of) && of.Index >= 0
		switch {
		case err == nil, len(found) > 0 && !inField, inField && tried[of.Index]:
			return found // what else there is may come of what was passed over
		}
		found = append(found, err)
		if !inField {
			return found
		}
		tried[of.Index] = true
		f := decode.Field{Name: fmt.Sprintf("passed_over_%d", of.Index), Ignore: true}
		if l.Form == decode.Binary {
			f.Type, f.At = "u8", l.Fields[of.Index].At
		}
		l.Fields[of.Index] = f
	}
}

// AllLayouts are the built-in layouts and the configured ones.
func (c *Config) AllLayouts() []decode.Layout { return decode.Join(c.builtin, c.Layouts) }

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

func (c *Config) checkLinks() (found []*problem) {
	seen := map[string]bool{}
	for i, l := range c.Links {
		table := fmt.Sprintf("link[%d]", i)
		if err := l.Validate(); err != nil {
			found = append(found, within(table, err))
		}
		if seen[l.Name] {
			found = append(found, problemf(table+".name", "two links are named %q: rename one", l.Name))
		}
		seen[l.Name] = true
		if l.NATS != "" && c.Bus.Listen == "" {
			found = append(found, problemf(table+".nats", "link %q waits for messages on the station's bus, which nobody can reach: add listen = \"127.0.0.1:4222\" under [bus]", l.Name))
		}
		if l.Layout == "" {
			found = append(found, problemf(table, "link %q has no layout: add layout = \"NAME\", one of %s", l.Name, strings.Join(c.layoutNames(), ", ")))
		} else if _, ok := c.Layout(l.Layout); !ok {
			found = append(found, problemf(table+".layout", "link %q: there is no layout %q; there are %s", l.Name, l.Layout, strings.Join(c.layoutNames(), ", ")))
		}
		first, _ := c.Layout(l.Layout)
		for _, name := range l.Also {
			switch other, ok := c.Layout(name); {
			case !ok:
				found = append(found, problemf(table+".also", "link %q: there is no layout %q; there are %s", l.Name, name, strings.Join(c.layoutNames(), ", ")))
			case !reflect.DeepEqual(other.Framing, first.Framing):
				found = append(found, problemf(table+".also", "link %q: layout %q has another framing than %q: boards on one port are cut into frames in one way", l.Name, name, l.Layout))
			}
		}
	}
	return found
}

func (c *Config) checkRockets() (found []*problem) {
	names, ids := map[string]bool{}, map[uint32]string{}
	for i, r := range c.Rockets {
		table := fmt.Sprintf("rocket[%d]", i)
		if r.Name == "" {
			found = append(found, problemf(table, "a rocket needs a name"))
			continue
		}
		if names[r.Name] {
			found = append(found, problemf(table+".name", "two rockets are named %q: rename one", r.Name))
		}
		names[r.Name] = true
		if r.ID != nil {
			if other, taken := ids[*r.ID]; taken {
				found = append(found, problemf(table+".id", "rockets %q and %q have the same id %d: give each board its own", other, r.Name, *r.ID))
			}
			ids[*r.ID] = r.Name
		}
		if err := alarm.CheckRocket(r); err != nil {
			found = append(found, blamed(table, reflect.TypeFor[flight.Rocket](), err))
		}
		if p := checkBottle(table, r); p != nil {
			found = append(found, p)
		}
	}
	return found
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
		{"wind_from_deg", "°, clockwise from north", s.WindFromDeg, 0, 360},
	} {
		if r.v != nil && !(*r.v >= r.min && *r.v <= r.max) {
			return problemf("site."+r.key, "%s = %g: must be between %g and %g %s", r.key, *r.v, r.min, r.max, r.unit)
		}
	}
	if (s.LatitudeDeg == nil) != (s.LongitudeDeg == nil) {
		return problemf("site", "give latitude_deg and longitude_deg together")
	}
	return c.checkReceiver()
}

// checkReceiver looks whether the station's own receiver is a link, and no rocket's.
func (c *Config) checkReceiver() *problem {
	name := c.Site.Receiver
	if name == "" {
		return nil
	}
	i := slices.IndexFunc(c.Links, func(l ingest.LinkConfig) bool { return l.Name == name })
	switch {
	case i < 0:
		return problemf("site.receiver", "there is no link %q: name the [[link]] that hears the station's own receiver", name)
	case c.Links[i].Rocket != "":
		return problemf(fmt.Sprintf("link[%d].rocket", i), "link %q is the station's own receiver (site.receiver) and can be no rocket's: leave rocket out, or site.receiver", name)
	case slices.ContainsFunc(c.Rockets, func(r flight.Rocket) bool { return r.Name == flight.ReceiverName }):
		return problemf("site.receiver", "a rocket is named %q, as the station's own receiver is: name the rocket otherwise", flight.ReceiverName)
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
	if _, _, err := port(c.Web.Listen); err != nil {
		return problemf("web.listen", "listen = %q: write host:port, such as \"127.0.0.1:9700\", or \"off\"", c.Web.Listen)
	}
	if (c.Web.Cert == "") != (c.Web.Key == "") {
		return problemf("web.cert", "cert and key go together: name both files, or write tls = true for a certificate that padlark makes")
	}
	return nil
}

func (c *Config) checkCallout() *problem {
	if err := c.Callout.Validate(); err != nil {
		return blamed("callout", reflect.TypeFor[callout.Config](), err)
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
		path, _, _ := strings.Cut(err.Error(), ":") // it begins with its key
		return &problem{path, err}
	}
	return nil
}
