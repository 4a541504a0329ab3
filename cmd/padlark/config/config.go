package config

import (
	"cmp"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"reflect"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/flight/phrase"
	"padlark/ingest"
	"padlark/watch/callout"
)

// Config is a whole configuration file, checked and with defaults filled in.
type Config struct {
	Station Station             `toml:"station"`
	Links   []ingest.LinkConfig `toml:"link"`
	Layouts []decode.Layout     `toml:"layout"`
	Rockets []flight.Rocket     `toml:"rocket"`
	Site    flight.Site         `toml:"site"`
	Bus     Bus                 `toml:"bus"`
	Storage Storage             `toml:"storage"`
	Web     Web                 `toml:"web"`
	Alarm   alarm.Thresholds    `toml:"alarm"`
	Callout callout.Config      `toml:"callout"`

	// Text is the file as it was read: the archive keeps it, and a replay runs
	// with it.
	Text string `toml:"-"`

	builtin []decode.Layout
}

// Station names this daemon and where it keeps its data.
type Station struct {
	// Name tells stations apart, on the bus and in the archive; "station" if not
	// given.
	Name string `toml:"name"`
	// Data is the folder of archive and bus; "padlark-data" if not given.
	Data string `toml:"data"`
	// Language is "en", "de" or "ja": that of callouts, of alarms on the terminal,
	// and of the pages for browsers that ask for none of these; "en" if not given.
	Language phrase.Language `toml:"language"`
	// Units is "metric" or "feet": what lengths, speeds and accelerations are shown
	// in on the terminal, and on pages where nobody chose; "metric" if not given.
	// The configuration itself is metric.
	Units string `toml:"units"`
}

// Reader is whom the station writes for.
func (s *Station) Reader() phrase.Reader {
	return phrase.Reader{Language: s.Language, Feet: s.Units == "feet"}
}

// Bus says who else hears of what the station hears.
type Bus struct {
	// Listen is host:port on which the live bus can be reached; empty is nowhere.
	Listen string `toml:"listen"`
	// URL is an outside NATS server to whose stream everything is sent, or several
	// of a cluster with commas between them; empty is none.
	URL string `toml:"url"`
	// TokenFile and Creds are for both, or for the one that is set: what is asked
	// of those who connect here, and what is shown there.
	Creds     string `toml:"creds"`
	TokenFile string `toml:"token_file"`
	TLSCA     string `toml:"tls_ca"`
	TLSCert   string `toml:"tls_cert"`
	TLSKey    string `toml:"tls_key"`
	// MaxAgeHours, MaxMB and Replicas are those of the stream if this station is
	// the one that makes it; 72 h, 1024 MB and 1 if not given.
	MaxAgeHours float64 `toml:"max_age_hours"`
	MaxMB       int64   `toml:"max_mb"`
	Replicas    int     `toml:"replicas"`
	// Leaf is not a key any more; whoever has it is told what to write instead.
	Leaf string `toml:"leaf"`
}

// Storage configures the sinks besides the archive, which is always there.
type Storage struct {
	// Influx is a time-series server that takes a copy of every sample.
	Influx *Influx `toml:"influx"`
}

// Influx is a time-series server that takes a copy of every sample.
type Influx struct {
	// URL is where the server listens, such as "http://127.0.0.1:8086".
	URL string `toml:"url"`
	// Org and Bucket are those of the server that the samples go to.
	Org    string `toml:"org"`
	Bucket string `toml:"bucket"`
	// TokenFile names the file with the server's token, TokenEnv the variable of
	// the environment that holds it: give one of them.
	TokenFile string `toml:"token_file"`
	TokenEnv  string `toml:"token_env"`
}

// Web configures the pages.
type Web struct {
	// Listen is host:port; "127.0.0.1:9700" if not given, "off" for none.
	Listen string `toml:"listen"`
	// Passphrase and Viewer are argon2id hashes (padlark passphrase prints one):
	// who knows the first may acknowledge and change, the second may look.
	Passphrase string `toml:"passphrase"`
	Viewer     string `toml:"viewer"`
	// Cert and Key are PEM files to serve the pages by TLS with; TLS alone uses a
	// certificate that the station makes itself.
	Cert string `toml:"cert"`
	Key  string `toml:"key"`
	TLS  bool   `toml:"tls"`
}

// Error is what is wrong with a configuration, and where.
type Error struct {
	File         string
	Line, Column int // 0 if the place is not known
	Err          error
}

func (e *Error) Error() string {
	if e.Line == 0 {
		return fmt.Sprintf("%s: %v", e.File, e.Err)
	}
	return fmt.Sprintf("%s:%d:%d: %v", e.File, e.Line, e.Column, e.Err)
}

func (e *Error) Unwrap() error { return e.Err }

// Errors are several mistakes of one file, in its order: one a line.
type Errors []*Error

func (e Errors) Error() string {
	lines := make([]string, len(e))
	for i, one := range e {
		lines[i] = one.Error()
	}
	return fmt.Sprintf("%d things are wrong:\n%s", len(e), strings.Join(lines, "\n"))
}

// Load reads and checks a configuration file.
func Load(path string) (*Config, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		if errors.Is(err, os.ErrNotExist) {
			return nil, fmt.Errorf("there is no configuration file %s: padlark check --example prints one to start from", path)
		}
		return nil, fmt.Errorf("read configuration: %w", err)
	}
	return ParseHere(path, data)
}

// readKey reads the key of a layout's checksum.
func readKey(path string) ([]byte, error) {
	text, err := ingest.ReadSecret("key_file", path)
	if err != nil {
		return nil, err
	}
	key, err := hex.DecodeString(text)
	if err != nil || len(key) != decode.SealKeySize {
		return nil, fmt.Errorf("read key_file: %s does not hold %d hex digits", path, 2*decode.SealKeySize)
	}
	return key, nil
}

// Parse checks a configuration; name is what errors call the file. Files that it
// names are not read: what is decoded with a key cannot be then.
func Parse(name string, data []byte) (*Config, error) {
	return parse(name, data, nil, (*Config).check)
}

// ParseHere is Parse for a configuration of this computer, whose key files are
// read.
func ParseHere(name string, data []byte) (*Config, error) {
	return parse(name, data, readKey, (*Config).check)
}

// ParsePart checks what somebody gives who has nothing to listen to, as for a
// board's own log: a configuration that need not name a link.
func ParsePart(name string, data []byte) (*Config, error) {
	return parse(name, data, nil, (*Config).checkPart)
}

// mostErrors bounds how many mistakes are told at once.
const mostErrors = 50

// parse reads a document and finds all that is wrong with it at once: a key that
// is refused is taken out, and the rest checked again without it.
func parse(name string, data []byte, key func(path string) ([]byte, error), check func(*Config) []*problem) (*Config, error) {
	var doc map[string]any
	if err := toml.Unmarshal(data, &doc); err != nil {
		return nil, decodeError(name, err)
	}
	builtin, err := decode.Builtin()
	if err != nil {
		return nil, err
	}
	s := &shape{}
	s.table("", doc, reflect.TypeFor[Config]())
	text, at := data, findPositions(data)
	all := s.problems
	for {
		if len(s.problems) > 0 {
			if text, err = toml.Marshal(doc); err != nil {
				break // it was TOML before: what was found counts
			}
		}
		c := &Config{Text: string(data), builtin: builtin}
		if err := toml.Unmarshal(text, c); err != nil {
			if len(all) == 0 {
				return nil, decodeError(name, err)
			}
			break
		}
		c.fillDefaults()
		found := append(c.readKeys(key), check(c)...)
		if len(found) == 0 && len(all) == 0 {
			return c, nil
		}
		more := false
		for _, p := range found {
			_, there := at[p.path]
			if s.hidden(p, !there) || slices.ContainsFunc(all, p.same) {
				continue
			}
			all = append(all, p)
			if remove(doc, p.path) {
				s.problems, more = append(s.problems, p), true
			}
		}
		if !more || len(all) >= mostErrors {
			break
		}
	}
	return nil, located(name, at, all)
}

// located gives each problem its place; the first in the file comes first.
func located(name string, at positions, all []*problem) error {
	out := make(Errors, len(all))
	for i, p := range all {
		place := at.find(p.path)
		out[i] = &Error{File: name, Line: place.line, Column: place.column, Err: p.err}
	}
	slices.SortStableFunc(out, func(a, b *Error) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	if len(out) == 1 {
		return out[0]
	}
	return out
}

// decodeError brings what the TOML library refuses into our form.
func decodeError(name string, err error) error {
	var de *toml.DecodeError
	if errors.As(err, &de) {
		line, col := de.Position()
		return &Error{File: name, Line: line, Column: col,
			Err: errors.New(strings.TrimPrefix(de.Error(), "toml: "))}
	}
	return &Error{File: name, Err: err}
}

// readKeys takes in the keys that layouts name.
func (c *Config) readKeys(read func(path string) ([]byte, error)) (found []*problem) {
	for i := range c.Layouts {
		k := &c.Layouts[i].Checksum
		if k.KeyFile == "" || read == nil {
			continue
		}
		var err error
		if k.Key, err = read(k.KeyFile); err != nil {
			found = append(found, &problem{fmt.Sprintf("layout[%d].checksum.key_file", i), err})
		}
	}
	return found
}

func (c *Config) fillDefaults() {
	if c.Station.Name == "" {
		c.Station.Name = "station"
	}
	if c.Station.Data == "" {
		c.Station.Data = "padlark-data"
	}
	if c.Station.Language == "" {
		c.Station.Language = phrase.English
	}
	if c.Web.Listen == "" {
		c.Web.Listen = "127.0.0.1:9700"
	}
	if c.Bus.MaxAgeHours == 0 {
		c.Bus.MaxAgeHours = 72
	}
	if c.Bus.MaxMB == 0 {
		c.Bus.MaxMB = 1024
	}
	if c.Bus.Replicas == 0 {
		c.Bus.Replicas = 1
	}
}
