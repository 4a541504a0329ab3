package main

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/storage/logimport"
	"padlark/storage/sqlite"
)

// logImport is one log on its way into the archive.
type logImport struct {
	cmd     *importCmd
	cio     *cmdIO
	dir     string
	archive *sqlite.Archive
	file    *os.File
	src     *logimport.Source
	written time.Time // when the file was, as far as known
	link    string
	sum     string // begins the names of the sessions: the same log gives the same
	cfg     *config.Config
	log     *logimport.Log
	epoch   time.Time // of the log's session
	done    logDone
}

// logDone is what was done with a log, as it is printed.
type logDone struct {
	File    string   `json:"file"`
	Link    string   `json:"link"`
	Session string   `json:"session"`
	Merged  []string `json:"merged"`
	Samples int      `json:"samples"`
	Flights int      `json:"flights"`
	// Skipped has the first pieces that were skipped, Bad says how many there
	// are; the list on stderr has them all.
	Skipped []logimport.Skip `json:"skipped"`
	Bad     int              `json:"skipped_count"`
	Hints   []string         `json:"hints"`
	Dated   string           `json:"dated"` // how the time of day became known
	Aligned []alignedFlight  `json:"aligned"`
}

// log takes in a board's log or a captured stream. note is what is known of how
// it was read, empty if nothing is.
func (c *importCmd) log(ctx context.Context, dir, note string, cio *cmdIO) (err error) {
	if c.Layout == "" || c.Rocket == "" {
		if c.File == "-" {
			return usagef("for a board's log on stdin give --layout LAYOUT and --rocket NAME; a bundle must be a file")
		}
		return usagef("%s is no bundle: for a board's log give --layout LAYOUT and --rocket NAME", c.File)
	}
	m := &logImport{cmd: c, cio: cio, dir: dir}
	if c.At != "" {
		if _, err := time.Parse(time.RFC3339Nano, c.At); err != nil {
			return usagef("--at %s: write it as 2026-06-13T09:30:00Z", c.At)
		}
	}
	if err := m.openFile(); err != nil {
		return err
	}
	defer m.file.Close() //nolint:errcheck // only read from
	if m.archive, err = openArchive(ctx, dir); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, m.archive.Close()) }()
	base, err := m.baseConfig(ctx)
	if err != nil {
		return err
	}
	if l, is, err := m.sounderLayout(base); err != nil || is {
		if err != nil {
			return err
		}
		return m.beeps(ctx, base, l)
	}
	if err := m.read(ctx, base); errors.Is(err, context.Canceled) {
		return fmt.Errorf("import %s: interrupted; nothing was stored", c.File)
	} else if err != nil {
		return err
	}
	if note != "" {
		m.log.Hints = append([]string{note}, m.log.Hints...)
	}
	m.listHints()
	if m.log.Good == 0 {
		return m.noneFits()
	}
	if err := m.store(ctx); errors.Is(err, context.Canceled) {
		return fmt.Errorf("import %s: interrupted before anything was stored", c.File)
	} else if err != nil {
		return err
	}
	return m.report()
}

// openFile opens the log. What comes on stdin goes into a file first, since it
// is read more than once.
func (m *logImport) openFile() (err error) {
	name := "stdin"
	m.written = time.Now()
	if m.cmd.File == "-" {
		m.file, err = spool(m.cio.In, m.dir)
	} else if m.file, err = os.Open(m.cmd.File); err == nil {
		name = filepath.Base(m.cmd.File)
	}
	if err != nil {
		return fmt.Errorf("import: %w", err)
	}
	st, err := m.file.Stat()
	switch {
	case err != nil:
	case st.IsDir():
		err = fmt.Errorf("%s is a folder: name the file in it", m.cmd.File)
	case !st.Mode().IsRegular():
		err = fmt.Errorf("%[1]s is no file: for a board on a port write serial:%[1]s, for a pipe -", m.cmd.File)
	case m.cmd.File != "-":
		m.written = st.ModTime()
	}
	if err != nil {
		return errors.Join(fmt.Errorf("import: %w", err), m.file.Close())
	}
	m.link = "log-" + linkWord(name)
	return nil
}

// spool keeps what comes in a file without a name, which is gone once it is
// closed.
func spool(in io.Reader, dir string) (*os.File, error) {
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return nil, fmt.Errorf("make the folder for what comes on stdin: %w", err)
	}
	f, err := os.CreateTemp(dir, "import-*.tmp")
	if err != nil {
		return nil, fmt.Errorf("make a file for what comes on stdin: %w", err)
	}
	_ = os.Remove(f.Name()) // where that cannot be while it is open, it stays
	if _, err := io.Copy(f, in); err != nil {
		return nil, errors.Join(fmt.Errorf("keep what comes on stdin: %w", err), f.Close())
	}
	return f, nil
}

// openSource finds out what the file is, now that the layout is known.
func (m *logImport) openSource(ctx context.Context, c logimport.Config) error {
	form, err := c.Form()
	if err != nil {
		return usageError{err}
	}
	st, err := m.file.Stat()
	if err != nil {
		return fmt.Errorf("import: %w", err)
	}
	if m.src, err = logimport.Open(ctx, m.file, st.Size(), form); err != nil {
		return fmt.Errorf("import %s: %w", m.cmd.File, err)
	}
	m.sum = hex.EncodeToString(m.src.Sum[:4])
	m.src.TrimEnd(m.endMark())
	return nil
}

// linkWord makes a file's name one that a link may have.
func linkWord(name string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_' {
			return r
		}
		return '_'
	}, name)
}

// read reads the log, a second time if the first told the board's id.
func (m *logImport) read(ctx context.Context, base string) (err error) {
	if m.cfg, err = m.withLog(base, nil); err != nil {
		return err
	}
	// It is needed only to store, and would be wrong then too.
	if _, err := m.cfg.NewDecoder(); err != nil {
		return usageError{fmt.Errorf("import: the configuration: %w", err)}
	}
	lc := logimport.Config{
		Link: m.link, Layout: m.cmd.Layout, Layouts: m.cfg.Layouts, Rocket: m.cmd.Rocket, Rate: m.cmd.Rate,
	}
	for _, r := range m.cfg.Rockets {
		lc.Rockets = append(lc.Rockets, decode.RocketID{ID: r.ID, Name: r.Name})
	}
	if err := m.openSource(ctx, lc); err != nil {
		return err
	}
	p := newProgress(m.cio.Err, "reading", "kB", m.src.Size/1000)
	lc.OnRead = func(n int64) { p.at(n / 1000) }
	lc.OnSkip = func(s logimport.Skip) { fmt.Fprintf(p, "skipped %s\n", s) }
	m.log, err = logimport.Read(ctx, m.src, lc)
	p.end()
	if errors.Is(err, logimport.ErrNoClock) {
		return usageError{err}
	} else if err != nil {
		return err
	}
	if m.cfg.Rocket(m.cmd.Rocket).ID != nil || len(m.log.IDs) != 1 {
		return nil // or the lines do not say whose they are
	}
	id := m.log.IDs[0]
	// The person says whose log it is, the board says its id.
	m.cfg, err = m.withLog(base, &id)
	return err
}

// endMark is what the layout's dumps end in; it is no line of the log.
func (m *logImport) endMark() []byte {
	if l, ok := m.cfg.Layout(m.cmd.Layout); ok && l.Dump != nil {
		if plan, err := l.Dump.Plan(); err == nil {
			return plan.End
		}
	}
	return nil
}

// baseConfig is the text that the log's link is added to: the one given, or
// that of the newest session of the rocket.
func (m *logImport) baseConfig(ctx context.Context) (string, error) {
	if m.cmd.Config != "" {
		text, err := os.ReadFile(m.cmd.Config)
		if err != nil {
			return "", usagef("import: read configuration: %v", err)
		}
		if _, err := config.ParsePart(m.cmd.Config, text); err != nil {
			return "", usageError{err}
		}
		return string(text), nil
	}
	all, err := m.archive.Sessions(ctx)
	if err != nil {
		return "", err
	}
	for i := len(all) - 1; i >= 0; i-- {
		for _, r := range all[i].Rockets {
			if _, isLog := logOf(all[i].ID); r.Name == m.cmd.Rocket && !isLog && all[i].Config != "" {
				return all[i].Latest(), nil
			}
		}
	}
	return bareConfig, nil
}

// bareConfig is for a log without a station: the log's link makes it whole.
const bareConfig = "[station]\nname = \"import\"\n"

// withLog adds the log's link, and the rocket if nobody has configured it.
func (m *logImport) withLog(base string, id *uint32) (*config.Config, error) {
	was := &config.Config{}
	if base != bareConfig {
		var err error
		if was, err = config.ParsePart("configuration", []byte(base)); err != nil {
			return nil, err
		}
		base = m.named(base, was)
	}
	var b strings.Builder
	b.WriteString(strings.TrimRight(base, "\n") + "\n")
	known := false
	for _, r := range was.Rockets {
		known = known || r.Name == m.cmd.Rocket
	}
	if !known {
		fmt.Fprintf(&b, "\n[[rocket]]\nname = %q\n", m.cmd.Rocket)
		if id != nil {
			fmt.Fprintf(&b, "id = %d\n", *id)
		}
	}
	fmt.Fprintf(&b, "\n# A board's own log, imported.\n[[link]]\nname = %q\nfile = %q\nlayout = %q\nrocket = %q\n", m.link, m.cmd.File, m.cmd.Layout, m.cmd.Rocket)
	cfg, err := config.Parse("configuration with the log's link", []byte(b.String()))
	if err != nil {
		return nil, usageError{err}
	}
	return cfg, nil
}

// linkTable begins a link of a configuration.
var linkTable = regexp.MustCompile(`(?m)^[ \t]*\[\[[ \t]*link[ \t]*\]\].*$`)

// named is a configuration in which the rocket of the log is also that of the
// links whose frames do not say whose they are: the person has said it once.
func (m *logImport) named(base string, was *config.Config) string {
	at := linkTable.FindAllStringIndex(base, -1)
	if len(at) != len(was.Links) {
		return base // written otherwise; the check that follows says what is missing
	}
	for i := len(at) - 1; i >= 0; i-- {
		l := was.Links[i]
		if l.Rocket != "" || l.Name == was.Site.Receiver {
			continue
		}
		one := decode.Config{Layouts: was.Layouts, Links: []decode.LinkLayouts{{Link: l.Name, Layouts: []string{l.Layout}}}}
		if _, err := decode.New(one); err != nil {
			base = base[:at[i][1]] + fmt.Sprintf("\nrocket = %q", m.cmd.Rocket) + base[at[i][1]:]
		}
	}
	return base
}

// noneFits says why no line could be read, as far as that can be told.
func (m *logImport) noneFits() error {
	c := logimport.Config{Layout: m.cmd.Layout, Layouts: m.cfg.Layouts}
	if why := m.src.Misfit(c); why != "" {
		return fmt.Errorf("no line of %s fits the layout %s: %s", m.cmd.File, m.cmd.Layout, why)
	}
	return fmt.Errorf("no line of %s fits the layout %s; the reasons are above: take another layout, or correct it and try it with padlark check CONFIG --try %[1]s",
		m.cmd.File, m.cmd.Layout)
}

func (m *logImport) listHints() {
	for _, h := range m.log.Hints {
		fmt.Fprintf(m.cio.Err, "note: %s\n", h)
	}
}

func (m *logImport) report() error {
	d := &m.done
	d.File, d.Link, d.Samples = m.cmd.File, m.link, m.log.Good
	d.Skipped, d.Bad, d.Hints = m.log.Skipped, m.log.Bad, m.log.Hints
	if m.cmd.JSON {
		enc := json.NewEncoder(m.cio.Out)
		enc.SetIndent("", " ")
		return enc.Encode(d)
	}
	fmt.Fprintf(m.cio.Out, "session %s: %d samples of %s, link %s; flights found: %d; pieces skipped: %d\n", d.Session, d.Samples, m.cmd.Rocket, d.Link, d.Flights, d.Bad)
	fmt.Fprintf(m.cio.Out, "time of day: %s\n", d.Dated)
	for _, a := range d.Aligned {
		fmt.Fprintln(m.cio.Out, a)
	}
	_, err := fmt.Fprintf(m.cio.Err, "Look at it with padlark flights --data %s\n", m.dir)
	return err
}
