package main

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"padlark/cmd/padlark/config"
	"padlark/cmd/padlark/station"
	"padlark/decode"
	"padlark/ingest"
)

type checkCmd struct {
	Config  string `arg:"" optional:"" help:"Configuration file; padlark.toml of this folder if not given. With --keys a word to look for."`
	Example bool   `help:"Print a configuration to start from, with every key."`
	Keys    bool   `help:"Print what every key, field name, unit, framing and form means, or those that a word is in: --keys baud."`
	Try     string `type:"path" help:"Decode FILE (a capture, or the plain bytes of a link) and show what comes out of it." placeholder:"FILE"`
	Link    string `help:"With --try on plain bytes: the link they are from."`
	First   int    `default:"5" help:"With --try: how many samples of each link to show (${default})."`
	JSON    bool   `name:"json" help:"With --try: print samples and rejects, one JSON object a line."`
}

// Help shows an example.
func (checkCmd) Help() string {
	return "Example: padlark check padlark.toml --try saturday.plarkcap"
}

// Run checks a configuration and prints what it comes to.
func (c *checkCmd) Run(ctx context.Context, io *cmdIO) error {
	if c.Example {
		_, err := io.Out.Write([]byte(config.Example()))
		return err
	}
	if c.Keys {
		return printKeys(io, c.Config)
	}
	cfg, err := configuration(c.Config)
	if err != nil {
		return err
	}
	if err := station.Check(cfg); err != nil {
		return usageError{fmt.Errorf("%s: %w", orHere(c.Config), err)}
	}
	if c.Try != "" {
		return c.try(ctx, cfg, io)
	}
	return printConfig(io.Out, cfg)
}

// printKeys prints the reference, or what a word finds in it.
func printKeys(io *cmdIO, word string) error {
	keys, err := config.Keys()
	if err != nil {
		return err
	}
	if word != "" {
		if keys = config.Find(keys, word); len(keys) == 0 {
			return usagef("nothing in the reference has to do with %q: padlark check --keys prints all of it", word)
		}
	}
	table := ""
	for i, k := range keys {
		if k.Table != table {
			table = k.Table
			fmt.Fprintf(io.Out, "%s\n", table)
		}
		head := strings.TrimRight(fmt.Sprintf("  %-20s  %s", k.Name, k.Type), " ")
		again := i+1 < len(keys) && keys[i+1].Table == table && keys[i+1].Words == k.Words
		if fmt.Fprintln(io.Out, head); k.Words != "" && !again { // one text may be of several
			wrap(io.Out, strings.Repeat(" ", 6), k.Words)
		}
	}
	return nil
}

// printConfig prints the resolved links, layouts and rockets.
func printConfig(out io.Writer, cfg *config.Config) error {
	t := tabwriter.NewWriter(out, 0, 8, 2, ' ', 0)
	fmt.Fprintf(t, "station\t%s\tdata in %s\n", cfg.Station.Name, cfg.Station.Data)
	fmt.Fprintf(t, "pages\t%s\t\n", cfg.Web.Listen)
	for _, l := range cfg.Links {
		at := l.Address()
		if l.Baud > 0 {
			at += fmt.Sprintf(" at %d Bd", l.Baud)
		}
		fmt.Fprintf(t, "link\t%s\t%s, layout %s\n", l.Name, at, strings.Join(l.Layouts(), ", "))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	for _, l := range cfg.AllLayouts() {
		used := slices.ContainsFunc(cfg.Links, func(link ingest.LinkConfig) bool { return slices.Contains(link.Layouts(), l.Name) })
		own := slices.ContainsFunc(cfg.Layouts, func(o decode.Layout) bool { return o.Name == l.Name })
		if used || own && len(l.Fields) > 0 {
			if err := printLayout(out, l, cfg, own); err != nil {
				return err
			}
		}
	}
	for _, r := range cfg.Rockets {
		id := "no id"
		if r.ID != nil {
			id = fmt.Sprintf("id %d", *r.ID)
		}
		wrap(out, "rocket   "+r.Name+"  ", strings.Join(rocketWords(cfg, r.Name, id), ", "))
	}
	doubts := cfg.Doubts()
	if len(doubts) == 0 {
		fmt.Fprintln(out, "The configuration is good.")
		return nil
	}
	fmt.Fprintln(out)
	for _, d := range doubts {
		wrap(out, fmt.Sprintf("line %d  ", d.Line), d.Err.Error())
	}
	what := "this is"
	if len(doubts) > 1 {
		what = fmt.Sprintf("these %d are", len(doubts))
	}
	fmt.Fprintf(out, "The configuration can be run, but %s probably not meant.\n", what)
	return nil
}

// printLayout prints what a layout gives, and of one's own what each field is used
// for.
func printLayout(out io.Writer, l decode.Layout, cfg *config.Config, own bool) error {
	p, err := decode.Compile(l, cfg.AllLayouts())
	if err != nil {
		return err
	}
	lead := "layout   " + l.Name + "  "
	if !own || len(l.Fields) == 0 {
		wrap(out, lead, fmt.Sprintf("%s frames, %s form, gives %s", l.Framing.Kind, l.Form, strings.Join(p.Channels(), ", ")))
		return nil
	}
	wrap(out, lead, fmt.Sprintf("%s frames, %s form", l.Framing.Kind, l.Form))
	t := tabwriter.NewWriter(out, 0, 8, 2, ' ', 0)
	for _, f := range l.Fields {
		for _, row := range fieldRows(f, l) {
			fmt.Fprintf(t, "         %s\t%s\t%s\n", row[0], row[1], row[2])
		}
	}
	return t.Flush()
}

// fieldRows are name, unit and use of a field, or of each of its flags.
func fieldRows(f decode.Field, l decode.Layout) (rows [][3]string) {
	use := func(name string) string {
		switch u := decode.Use(name); {
		case u != "":
			return "used for " + u
		case l.Barometer != nil && (l.Barometer.Pressure == name || l.Barometer.Temperature == name):
			return "used by the barometer, for height"
		}
		return "kept, not used"
	}
	switch {
	case f.Ignore, f.Type == "skip":
		return [][3]string{{orDash(f.Name), f.Unit, "passed over"}}
	case f.SignOf != "":
		return [][3]string{{f.Name, "", "the sign of " + f.SignOf}}
	}
	for _, name := range slices.Sorted(maps.Keys(f.Flags)) {
		rows = append(rows, [3]string{fmt.Sprintf("%s bit %d", name, f.Flags[name]), "", use(name)})
	}
	if rows != nil {
		return rows
	}
	words := use(f.Name)
	if meant := config.Meant(f); meant != "" && l.Barometer == nil {
		words += "; did you mean " + meant + "?"
	}
	return [][3]string{{f.Name, f.Unit, words}}
}

func orDash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}

func rocketWords(cfg *config.Config, name, id string) []string {
	r := cfg.Rocket(name)
	words := []string{id}
	add := func(format string, v float64) {
		if v != 0 {
			words = append(words, fmt.Sprintf(format, v))
		}
	}
	add("%.3g kg", r.MassKg)
	add("parachute %.2f m", r.ParachuteM)
	add("%.0f frames a second", r.RateHz)
	if r.Cell != "" {
		words = append(words, "cell "+r.Cell)
	}
	if r.Release != "" {
		words = append(words, "release by "+r.Release)
	}
	return words
}

// try decodes a file and shows the first samples and every rejected frame.
func (c *checkCmd) try(ctx context.Context, cfg *config.Config, io *cmdIO) error {
	p := &tryPrinter{out: io.Out, first: c.First, json: c.JSON, shown: map[string]int{}}
	counts, err := station.Try(ctx, cfg, c.Try, c.Link, p)
	if err != nil {
		return err
	}
	if c.JSON {
		return nil
	}
	bad := uint64(0)
	for _, n := range counts {
		fmt.Fprintf(io.Out, "%s: %d samples, %d frames rejected, %d pieces that are no frame\n", n.Link, n.Samples, n.Rejected, n.Pieces)
		bad += n.Rejected + n.Pieces
		if n.Samples > 0 {
			bad = 0
		}
	}
	if bad > 0 {
		// Something came, and nothing of it could be read.
		return errBadVerdict
	}
	return nil
}

// tryPrinter shows what a try gives.
type tryPrinter struct {
	out   io.Writer
	first int
	json  bool
	shown map[string]int
}

// Sample shows the first samples of each link.
func (p *tryPrinter) Sample(s decode.Sample) error {
	if p.shown[s.Link]++; p.shown[s.Link] > p.first {
		return nil
	}
	if p.json {
		return json.NewEncoder(p.out).Encode(triedSample{s, dated(s.Heard), dated(s.At)})
	}
	var values []string
	for i, name := range s.Values.Names {
		if v, ok := s.Values.Get(name); ok {
			values = append(values, fmt.Sprintf("%s %.6g", s.Values.Names[i], v))
		}
	}
	wrap(p.out, fmt.Sprintf("%s frame %d  ", s.Link, s.N),
		fmt.Sprintf("%s boot %d seq %d clock %.3f s: %s", s.Rocket, s.Boot, s.Seq, float64(s.Clock)/1e6, strings.Join(values, ", ")))
	return nil
}

// triedSample is a sample whose times are null where nobody knows them.
type triedSample struct {
	decode.Sample
	Heard *time.Time `json:"heard"`
	At    *time.Time `json:"at"`
}

// dated is a time, nil if it is of the clock that counts from 0 where plain bytes
// are read.
func dated(t time.Time) *time.Time {
	if t.Year() < 1980 { // before any clock of a board or of GPS begins
		return nil
	}
	return &t
}

// Reject shows a frame that could not be decoded.
func (p *tryPrinter) Reject(f ingest.Frame, rej *decode.Reject) error {
	if p.json {
		return json.NewEncoder(p.out).Encode(map[string]any{"link": f.Link, "n": f.N, "reject": rej, "hex": hex.EncodeToString(f.Bytes)})
	}
	wrap(p.out, fmt.Sprintf("%s frame %d  ", f.Link, f.N), rej.Error())
	return p.dump(f.Bytes, rej.Offset)
}

// Piece shows bytes that made no frame.
func (p *tryPrinter) Piece(link string, r ingest.Rejected) error {
	if p.json {
		return json.NewEncoder(p.out).Encode(map[string]any{"link": link, "piece": r})
	}
	wrap(p.out, link+" piece  ", fmt.Sprintf("%s, %d bytes at offset %d", r.Reason, r.Length, r.Offset))
	return p.dump(r.Bytes, -1)
}

// dump writes bytes in hex, sixteen to a line; the one at mark is pointed at.
func (p *tryPrinter) dump(b []byte, mark int) error {
	const most = 64
	for i := 0; i < len(b) && i < most; i += 16 {
		line := b[i:min(i+16, len(b), most)]
		hexed := make([]string, len(line))
		for k, v := range line {
			hexed[k] = fmt.Sprintf("%02x", v)
			if i+k == mark {
				hexed[k] = ">" + hexed[k]
			}
		}
		if _, err := fmt.Fprintf(p.out, "    %04x  %-49s %s\n", i, strings.Join(hexed, " "), printable(line)); err != nil {
			return err
		}
	}
	if len(b) > most {
		_, err := fmt.Fprintf(p.out, "    … %d bytes more\n", len(b)-most)
		return err
	}
	return nil
}

func printable(b []byte) string {
	out := make([]byte, len(b))
	for i, c := range b {
		out[i] = '.'
		if c >= ' ' && c < 0x7f {
			out[i] = c
		}
	}
	return string(out)
}
