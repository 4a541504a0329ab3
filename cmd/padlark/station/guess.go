package station

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/decode/guess"
	"padlark/ingest"
	"padlark/web"
)

// guess proposes a layout for what a link has heard lately, for the page Links.
func (s *station) guess(link string) (web.LinkGuess, error) {
	r := s.links.receiver(link)
	if r == nil {
		return web.LinkGuess{}, web.ErrNotFound
	}
	g, err := guess.Look(guess.Input(r.Recent()))
	if err != nil {
		return web.LinkGuess{Link: link, None: err.Error()}, nil
	}
	return proposal(s.live.Load(), r.Config(), g), nil
}

// proposal is a guess as the page shows it, with the text that a configuration needs.
func proposal(cfg *config.Config, link ingest.LinkConfig, g *guess.Guess) web.LinkGuess {
	g.Call(freeLayout(cfg, link.Name))
	out := web.LinkGuess{Link: link.Name, Heard: g.Frames, Read: g.Read, Asks: g.Asks}
	lines := fmt.Sprintf("layout = %q", orElse(g.BuiltIn, g.Layout.Name))
	if whose := whoseFrames(cfg, link, g); whose != "" {
		lines += fmt.Sprintf("\n#     rocket = %q   # whose frames these are", whose)
	}
	if g.BuiltIn != "" {
		out.Config = fmt.Sprintf("# In the [[link]] named %q write, and take it over (page Configuration):\n#     %s\n# This layout is built in and needs no more.\n", link.Name, lines)
	} else {
		out.Config = fmt.Sprintf("# 1. In the [[link]] named %q write:\n#     %s\n# 2. Put these lines at the end of the configuration.\n# 3. Take it over: page Configuration, or start the station again.\n%s", link.Name, lines, g.LayoutTOML())
	}
	for _, p := range g.Points {
		out.Points = append(out.Points, web.GuessPoint{What: p.What, Value: p.Value, Sure: p.Sure.String(), Why: p.Why})
	}
	out.Frames = shownFrames(g)
	return out
}

// whoseFrames is the rocket that the link must name, "" if the frames say it, or the
// link does already.
func whoseFrames(cfg *config.Config, link ingest.LinkConfig, g *guess.Guess) string {
	silent := g.Layout.Rocket != nil || len(g.Layout.Sources) > 0
	g.Layout.Rocket, g.Layout.Sources = nil, nil
	if !silent || link.Rocket != "" || len(cfg.Rockets) == 0 || g.BuiltIn != "" {
		return ""
	}
	return cfg.Rockets[0].Name
}

// freeLayout is a name for a layout of a link's board that the configuration does not
// have yet.
func freeLayout(cfg *config.Config, link string) string {
	for n := 1; ; n++ {
		name := link + "-board"
		if n > 1 {
			name += "-" + strconv.Itoa(n)
		}
		if !slices.ContainsFunc(cfg.Layouts, func(l decode.Layout) bool { return strings.HasPrefix(l.Name, name) }) {
			return name
		}
	}
}

// shownFrames is one frame of each layout, with its columns.
func shownFrames(g *guess.Guess) (out []web.GuessFrame) {
	if len(g.Raw) > 0 && (len(g.Columns) > 0 || g.BuiltIn != "" || len(g.Parts) == 0) {
		f := web.GuessFrame{Layout: g.Layout.Name, Hex: g.Raw[:min(len(g.Raw), 256)], Decoded: g.Decoded()}
		for _, c := range g.Columns {
			one := web.GuessColumn{Name: c.Field.Name, Raw: c.Raw, Sure: c.Sure.String(), Why: c.Why, Ask: c.Ask, Use: decode.Use(c.Field.Name)}
			if c.Field.Ignore || c.Field.Type == "skip" {
				one.Name = ""
			} else if c.Field.Name == decode.FieldClock && g.Clock >= 0 {
				one.Value = fmt.Sprintf("%.3f s", float64(g.Clock)/1e6)
			} else if v, ok := g.Values.Get(c.Field.Name); ok {
				one.Value = strings.TrimSpace(fmt.Sprintf("%.6g %s", v, decode.UnitOf(c.Field.Name)))
			}
			f.Columns = append(f.Columns, one)
		}
		out = append(out, f)
	}
	for _, p := range g.Parts {
		out = append(out, shownFrames(p)...)
	}
	return out
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}
