package config

import (
	"fmt"
	"slices"
	"strings"

	"padlark/decode"
	"padlark/decode/guess"
	"padlark/flight"
	"padlark/ingest"
)

// Doubts are what can be run and is probably not meant: a field whose name means
// nothing beside one that does, a rocket that is nowhere, a release that nothing
// tells of. They are no errors: a board may send what padlark has no use for, and
// guests are welcome.
func (c *Config) Doubts() []*Error {
	var found []*problem
	for i, l := range c.Layouts {
		if c.isUsed(l.Name) {
			found = append(found, c.doubtLayout(fmt.Sprintf("layout[%d]", i), &l)...)
		}
	}
	for i, l := range c.Links {
		path := fmt.Sprintf("link[%d]", i)
		if l.Rocket != "" && !slices.ContainsFunc(c.Rockets, func(r flight.Rocket) bool { return r.Name == l.Rocket }) {
			found = append(found, problemf(path+".rocket", "link %q: there is no [[rocket]] named %q%s; it will be watched as a guest", l.Name, l.Rocket, didYouMean(nearest(l.Rocket, c.rocketNames()))))
		}
		if l.NATS != "" && l.PasswordFile == "" && c.Bus.TokenFile != "" {
			found = append(found, problemf(path+".nats", "link %q: whoever may look at the bus may send frames of it as well: give it a password_file, with a word for its board alone", l.Name))
		}
		if l.Serial != "" || l.USB != nil {
			if near := usualRate(l.Baud); near != l.Baud {
				found = append(found, problemf(path+".baud", "link %q: %d baud is no usual rate: did you mean %d?", l.Name, l.Baud, near))
			}
		}
	}
	for i := range c.Rockets {
		found = append(found, c.doubtRocket(fmt.Sprintf("rocket[%d]", i), &c.Rockets[i])...)
	}
	if len(found) == 0 {
		return nil
	}
	switch err := located("", findPositions([]byte(c.Text)), found).(type) {
	case *Error:
		return []*Error{err}
	case Errors:
		return err
	}
	return nil
}

func (c *Config) doubtLayout(table string, l *decode.Layout) (found []*problem) {
	if l.Rocket != nil && c.byID(*l.Rocket) == nil {
		found = append(found, problemf(table+".rocket", "layout %q: there is no [[rocket]] with id = %d; it will be watched as a guest", l.Name, *l.Rocket))
	}
	height := l.Inner != "" || l.Barometer != nil || len(l.Fields) == 0
	for i, f := range l.Fields {
		if decode.Use(f.Name) == "height" && !f.Ignore {
			height = true
		}
		if meant := Meant(f); meant != "" && l.Barometer == nil {
			found = append(found, problemf(fmt.Sprintf("%s.fields[%d].name", table, i), "layout %q: field %q is kept and used for nothing%s", l.Name, f.Name, didYouMean(meant)))
		}
	}
	if !height {
		found = append(found, problemf(table+".fields", "layout %q has no height: without pressure_pa or altitude_m nothing can be said of a flight", l.Name))
	}
	return found
}

// Meant is the name that padlark understands and that a field which it does not
// may have been meant to have, "" for none.
func Meant(f decode.Field) string {
	if f.Ignore || f.Name == "" || f.SignOf != "" || len(f.Flags) > 0 || decode.Use(f.Name) != "" {
		return ""
	}
	var names []string
	for _, u := range decode.Uses() {
		names = append(names, u.Name)
	}
	if near := nearest(f.Name, names); near != "" {
		return near
	}
	if role, _ := guess.Named(f.Name); decode.Use(role) != "" {
		if decode.Use(role) == "release" {
			return decode.ReleaseUs + " or " + decode.ReleaseOn
		}
		return role
	}
	return ""
}

func (c *Config) doubtRocket(table string, r *flight.Rocket) (found []*problem) {
	layouts := c.layoutsOf(r)
	if r.ID == nil && !slices.ContainsFunc(c.Links, func(l ingest.LinkConfig) bool { return l.Rocket == r.Name }) {
		found = append(found, problemf(table+".name", "rocket %q has no id, and no link says rocket = %q: nothing that is heard will be taken for it", r.Name, r.Name))
	} else if len(c.Links) > 0 && len(layouts) > 0 && r.Release == "servo" && !slices.ContainsFunc(layouts, tellsRelease) {
		found = append(found, problemf(table+".release", "rocket %q releases by servo, and no layout of its frames has release_us or release_on: the release is then inferred from the descent, later and less surely", r.Name))
	}
	return found
}

// layoutsOf are the layouts in which a rocket's frames may come.
func (c *Config) layoutsOf(r *flight.Rocket) (out []decode.Layout) {
	for _, link := range c.Links {
		for _, name := range link.Layouts() {
			l, ok := c.Layout(name)
			if ok && (l.Rocket == nil || r.ID != nil && *l.Rocket == *r.ID) && (link.Rocket == "" || link.Rocket == r.Name) {
				out = append(out, l)
			}
		}
	}
	return out
}

// tellsRelease says whether frames of a layout, or some inside of it, tell of the
// release.
func tellsRelease(l decode.Layout) bool {
	if len(l.Fields) == 0 { // what is inside is another layout's matter
		return true
	}
	return slices.ContainsFunc(l.Fields, func(f decode.Field) bool {
		_, flag := f.Flags[decode.ReleaseOn]
		return flag || decode.Use(f.Name) == "release" && !f.Ignore
	})
}

func (c *Config) isUsed(layout string) bool {
	return slices.ContainsFunc(c.Links, func(l ingest.LinkConfig) bool { return slices.Contains(l.Layouts(), layout) })
}

func (c *Config) byID(id uint32) *flight.Rocket {
	i := slices.IndexFunc(c.Rockets, func(r flight.Rocket) bool { return r.ID != nil && *r.ID == id })
	if i < 0 {
		return nil
	}
	return &c.Rockets[i]
}

func (c *Config) rocketNames() (names []string) {
	for _, r := range c.Rockets {
		names = append(names, r.Name)
	}
	return names
}

func didYouMean(name string) string {
	if name == "" {
		return ""
	}
	return ": did you mean " + strings.ReplaceAll(name, `"`, "") + "?"
}

// usualRate is the usual rate next to one, if it is within a hundredth of it. The
// rates are those of serial hardware; common practice, no source. One that is near
// none is somebody's own.
func usualRate(baud int) int {
	for _, r := range []int{
		300, 600, 1200, 2400, 4800, 9600, 14400, 19200, 28800, 31250, 38400, 56000, 57600, 74880, 76800, 100000, 115200, 128000,
		230400, 250000, 256000, 460800, 500000, 576000, 921600, 1000000, 1152000, 1500000, 2000000, 2500000, 3000000, 4000000,
	} {
		if d := max(baud-r, r-baud); d > 0 && 100*d <= r && d < 2000 {
			return r
		}
		if baud == r {
			return baud
		}
	}
	return baud
}
