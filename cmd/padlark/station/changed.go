package station

import (
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"

	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
)

// changed is what tells one configuration from another, in words.
type changed struct {
	now   []string // what a running station takes over
	later []string // what takes effect at its next start
}

// changes compares the configuration that runs with one that is read anew.
func changes(old, cfg *config.Config) changed {
	var c changed
	c.now = append(c.now, listed("link", old.Links, cfg.Links, func(l ingest.LinkConfig) string { return l.Name })...)
	c.now = append(c.now, listed("layout", old.Layouts, cfg.Layouts, func(l decode.Layout) string { return l.Name })...)
	c.now = append(c.now, listed("rocket", old.Rockets, cfg.Rockets, func(r flight.Rocket) string { return r.Name })...)
	for _, part := range []struct {
		name     string
		old, cfg any
	}{{"site", old.Site, cfg.Site}, {"alarm", old.Alarm, cfg.Alarm}, {"callout", old.Callout, cfg.Callout}} {
		for _, key := range keysThatDiffer(part.name, part.old, part.cfg) {
			c.now = append(c.now, key+" changes")
		}
	}
	for _, part := range []struct {
		name     string
		old, cfg any
	}{{"station", old.Station, cfg.Station}, {"bus", old.Bus, cfg.Bus}, {"web", old.Web, cfg.Web}} {
		c.later = append(c.later, keysThatDiffer(part.name, part.old, part.cfg)...)
	}
	if !reflect.DeepEqual(old.Storage, cfg.Storage) {
		c.later = append(c.later, "storage.influx")
	}
	if old.Bus.Listen != "" && !slices.Equal(busSubjects(old), busSubjects(cfg)) {
		c.later = append(c.later, "who may publish to links of kind nats")
	}
	return c
}

// listed tells which of a list's parts come, go and change.
func listed[T any](what string, old, cfg []T, name func(T) string) []string {
	before, after := map[string]T{}, map[string]T{}
	for _, x := range old {
		before[name(x)] = x
	}
	for _, x := range cfg {
		after[name(x)] = x
	}
	var out []string
	for _, n := range slices.Sorted(maps.Keys(before)) {
		switch x, there := after[n]; {
		case !there:
			out = append(out, fmt.Sprintf("%s %q goes", what, n))
		case !reflect.DeepEqual(x, before[n]):
			out = append(out, fmt.Sprintf("%s %q changes", what, n))
		}
	}
	for _, n := range slices.Sorted(maps.Keys(after)) {
		if _, there := before[n]; !there {
			out = append(out, fmt.Sprintf("%s %q comes", what, n))
		}
	}
	return out
}

// keysThatDiffer are the keys of two tables of one type that are not the same.
func keysThatDiffer(table string, old, cfg any) []string {
	a, b := reflect.ValueOf(old), reflect.ValueOf(cfg)
	var out []string
	for i := range a.NumField() {
		key, _, _ := strings.Cut(a.Type().Field(i).Tag.Get("toml"), ",")
		if key == "" || key == "-" || reflect.DeepEqual(a.Field(i).Interface(), b.Field(i).Interface()) {
			continue
		}
		out = append(out, table+"."+key)
	}
	return out
}

func busSubjects(c *config.Config) []string {
	var out []string
	for _, l := range c.Links {
		if l.NATS != "" {
			out = append(out, l.NATS+" "+l.PasswordFile)
		}
	}
	slices.Sort(out)
	return out
}

// takenOver is a configuration as a running station takes it over: what only takes
// effect at a start is still that of the running one.
func takenOver(old, cfg *config.Config) *config.Config {
	out := *cfg
	out.Station, out.Bus, out.Web, out.Storage = old.Station, old.Bus, old.Web, old.Storage
	return &out
}
