package report

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"padlark/decode"
)

// Link is how well one link heard the flight, from 10 s before liftoff to 10 s
// after touchdown.
type Link struct {
	Name    string   `json:"link"`
	Frames  int      `json:"frames"`
	Lost    int      `json:"lost"`       // missing in the board's numbering
	Bad     int      `json:"unreadable"` // frames of anybody on this link meanwhile
	RateHz  float64  `json:"rate_hz"`
	PauseS  float64  `json:"longest_pause_s"` // in flight
	PauseT  float64  `json:"pause_t_s"`       // when it began, after liftoff
	RSSIDbm *float64 `json:"rssi_dbm"`        // mean
}

// LostPercent is the part of the board's frames that is missing.
func (l Link) LostPercent() float64 {
	return 100 * float64(l.Lost) / float64(max(1, l.Frames+l.Lost))
}

// links counts what each link heard of the flight.
func (r *Reporter) links(ctx context.Context, g *gathered) ([]Link, error) {
	rejects, err := r.Archive.Rejects(ctx, g.session.ID)
	if err != nil {
		return nil, err
	}
	end := time.Time{}
	if at := g.flight.Result.TouchdownAt; at != nil {
		end = *at
	}
	out := []Link{}
	for _, name := range g.session.Links {
		w := watchLink(g, name, end)
		if w.link.Frames == 0 {
			continue
		}
		for _, bad := range rejects {
			if bad.Link == name && bad.N >= w.first && bad.N <= w.last {
				w.link.Bad++
			}
		}
		out = append(out, w.link)
	}
	slices.SortFunc(out, func(a, b Link) int { return b.Frames - a.Frames })
	return out, nil
}

type watched struct {
	link        Link
	first, last uint64 // frame numbers on the link
}

func watchLink(g *gathered, name string, end time.Time) watched {
	w := watched{link: Link{Name: name}, first: math.MaxUint64}
	l := &w.link
	var rssi []float64
	var from, to, before time.Time
	var numbers decode.Numbering
	seen := map[[2]int64]bool{} // boot and number
	for i := range g.samples {
		s := &g.samples[i]
		if s.Link != name {
			continue
		}
		if l.Frames == 0 {
			from = s.Heard
		}
		if k := [2]int64{int64(s.Boot), s.Seq}; s.Seq >= 0 && !seen[k] {
			seen[k] = true
			numbers.Add(s.Boot, s.Seq)
		}
		if pause := s.Heard.Sub(before).Seconds(); !before.IsZero() && pause > l.PauseS && s.Heard.After(g.zero) && (end.IsZero() || before.Before(end)) {
			l.PauseS, l.PauseT = pause, before.Sub(g.zero).Seconds()
		}
		if s.RSSI != nil {
			rssi = append(rssi, *s.RSSI)
		}
		l.Frames++
		w.first, w.last = min(w.first, s.N), max(w.last, s.N)
		before, to = s.Heard, s.Heard
	}
	l.Lost = int(numbers.Lost())
	if d := to.Sub(from).Seconds(); d > 0 {
		l.RateHz = float64(l.Frames-1) / d
	}
	if len(rssi) > 0 {
		m := 0.0
		for _, v := range rssi {
			m += v / float64(len(rssi))
		}
		l.RSSIDbm = &m
	}
	return w
}

// caveats say what the data does not support.
func caveats(g *gathered, p *Page) []string {
	r := &g.flight.Result
	out := []string{"± is one standard deviation. Heights are above the pad as the barometer saw them, not surveyed, and the sensor was not compared with a standard: this is a measurement with its uncertainty, not a certified record."}
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if g.session.Site.TemperatureC == nil {
		add("Nobody gave the air's temperature: 15 °C ± 8 °C is assumed, which alone leaves 2.8 %% of the height open.")
	}
	if len(p.Series.T) == 0 {
		add("Too few readings to fit a flight: the numbers are those of the live calls.")
	}
	if r.ApogeeAt != nil {
		gap := apogeeGap(g, *r.ApogeeAt)
		if math.IsInf(gap, 1) {
			add("The readings do not reach from before the top to after it: the apogee is where the curve puts it.")
		} else if gap > 0.3 {
			add("Nothing was heard for %.1f s around the top: the apogee is where the fitted curve puts it.", gap)
		}
	} else {
		add("The top of the flight was not heard: no apogee is stated.")
	}
	if r.TouchdownAt == nil {
		add("The landing was not heard.")
	}
	var lossy []string
	for _, l := range p.Links {
		if l.LostPercent() > 10 {
			lossy = append(lossy, fmt.Sprintf("%s %.0f %%", l.Name, l.LostPercent()))
		}
	}
	if len(lossy) > 0 {
		add("Many frames were lost: %s.", strings.Join(lossy, ", "))
	}
	if r.MaxSpeedMps != nil {
		add("Speeds are the vertical part only; a tilted flight was faster than stated.")
	}
	if p.Session.TimeFixedBy == "" {
		add("Times of day are those of the station's clock, which nothing confirmed; times within the flight do not depend on it.")
	}
	return out
}

// apogeeGap is the pause in the readings, on all links together, that spans the
// apogee, in s.
func apogeeGap(g *gathered, at time.Time) float64 {
	var before, after time.Time
	for i := range g.samples {
		t := g.samples[i].At
		if !t.After(at) && t.After(before) {
			before = t
		}
		if t.After(at) && (after.IsZero() || t.Before(after)) {
			after = t
		}
	}
	if before.IsZero() || after.IsZero() {
		return math.Inf(1)
	}
	return after.Sub(before).Seconds()
}
