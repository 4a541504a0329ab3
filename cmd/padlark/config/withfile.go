package config

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
)

// FileLink is a file whose content is that of a link.
type FileLink struct {
	Link, File, Layout string
	// Rocket is whose it is, ID its id where the frames told it.
	Rocket string
	ID     *uint32
	// About is a comment that says what the file is.
	About string
}

// Bare is for a file without a station: its link makes it whole.
const Bare = "[station]\nname = \"import\"\n"

// WithFile adds a file's link to a configuration, and the rocket if nobody has
// configured it.
func WithFile(text string, f FileLink) (*Config, error) {
	was, err := ParsePart("configuration", []byte(text))
	if err != nil {
		return nil, err
	}
	var b strings.Builder
	b.WriteString(strings.TrimRight(naming(text, was, f.Rocket), "\n") + "\n")
	if _, known := flight.RocketNamed(was.Rockets, f.Rocket); !known {
		fmt.Fprintf(&b, "\n[[rocket]]\nname = %q\n", f.Rocket)
		if f.ID != nil {
			fmt.Fprintf(&b, "id = %d\n", *f.ID)
		}
	}
	fmt.Fprintf(&b, "\n# %s\n[[link]]\nname = %q\nfile = %q\nlayout = %q\nrocket = %q\n", f.About, f.Link, f.File, f.Layout, f.Rocket)
	return Parse("configuration with the link of the file", []byte(b.String()))
}

// linkTable begins a link of a configuration.
var linkTable = regexp.MustCompile(`(?m)^[ \t]*\[\[[ \t]*link[ \t]*\]\].*$`)

// naming is a configuration in which a rocket is also that of the links whose
// frames do not say whose they are: the person has said it once.
func naming(text string, was *Config, rocket string) string {
	at := linkTable.FindAllStringIndex(text, -1)
	if len(at) != len(was.Links) {
		return text // written otherwise; the check that follows says what is missing
	}
	for i := len(at) - 1; i >= 0; i-- {
		l := was.Links[i]
		if l.Rocket != "" || l.Name == was.Site.Receiver {
			continue
		}
		one := decode.Config{Layouts: was.Layouts, Links: []decode.LinkLayouts{{Link: l.Name, Layouts: []string{l.Layout}}}}
		if _, err := decode.New(one); err != nil {
			text = text[:at[i][1]] + fmt.Sprintf("\nrocket = %q", rocket) + text[at[i][1]:]
		}
	}
	return text
}

// dumpBaud is the rate of a port that no link is configured on: that of most
// boards' own port (common practice, no source).
const dumpBaud = 115200

// DumpPort is the port at path with the settings of its configured link, or the
// port of the configured link of this name, to read a board's log from.
func (c *Config) DumpPort(path string) ingest.LinkConfig {
	port := ingest.LinkConfig{Name: "dump", Serial: path, Baud: dumpBaud}
	for _, l := range c.Links {
		if l.Serial == path || l.Name == path && (l.Serial != "" || l.USB != nil) {
			port.Serial, port.USB = l.Serial, l.USB
			port.Baud, port.DataBits, port.Parity, port.StopBits = l.Baud, l.DataBits, l.Parity, l.StopBits
		}
	}
	return port
}

// DumpPlan is how a board with a layout is asked for its log.
func (c *Config) DumpPlan(layout string) (decode.DumpPlan, error) {
	l, _ := c.Layout(layout)
	own := slices.ContainsFunc(c.Layouts, func(l decode.Layout) bool { return l.Name == layout })
	switch {
	case l.Dump != nil:
		return l.Dump.Plan()
	case !own:
		return decode.DumpPlan{}, fmt.Errorf("layout %q is built in and does not say how to ask for a log: write one for your board with [layout.dump] "+
			"(padlark check --example shows how), or save the log by other means and import the file", layout)
	}
	return decode.DumpPlan{}, fmt.Errorf("layout %q does not say how to ask for a log: add [layout.dump] with request = \"…\" below it "+
		"(padlark check --example shows how), or save the log by other means and import the file", layout)
}
