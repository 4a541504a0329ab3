package web

import (
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// plotAsk is what a plot wants: channels, a stretch of time in s, and how many
// columns of pixels it has.
type plotAsk struct {
	channels []string // empty: all
	from, to float64  // s; NaN means to the end
	columns  int
	raw      bool // keep every sample
}

// Bounds of a plot.
const (
	defaultColumns = 800
	maxColumns     = 4000
	maxRawPoints   = 200_000
)

// plotView is the answer: each channel has times of its own, since each keeps
// its own lowest and highest points.
type plotView struct {
	Zero   time.Time    `json:"zero"` // t_s counts from here
	Series []seriesView `json:"series"`
}

type seriesView struct {
	Channel string  `json:"channel"`
	T       seconds `json:"t_s"`
	V       numbers `json:"v"`
	// Of tells how many samples there were before the reduction.
	Of int `json:"of"`
}

func readPlotAsk(r *http.Request) (plotAsk, error) {
	q := r.URL.Query()
	a := plotAsk{columns: defaultColumns}
	if v := q.Get("channels"); v != "" {
		a.channels = strings.Split(v, ",")
	}
	if v := q.Get("points"); v == "all" {
		a.raw = true
	} else if v != "" {
		n, err := strconv.Atoi(v)
		if err != nil || n < 1 || n > maxColumns {
			return a, badRequest("points", v, "give the plot's width in pixels, 1 to "+strconv.Itoa(maxColumns)+", or all")
		}
		a.columns = n
	}
	var err error
	if a.from, err = floatParam(r, "from_s", math.Inf(-1)); err != nil {
		return a, err
	}
	if a.to, err = floatParam(r, "to_s", math.Inf(1)); err != nil {
		return a, err
	}
	if a.from >= a.to {
		return a, badRequest("to_s", q.Get("to_s"), "give an end after from_s")
	}
	return a, nil
}

// floatParam reads a finite number from the query.
func floatParam(r *http.Request, name string, fallback float64) (float64, error) {
	v := r.URL.Query().Get(name)
	if v == "" {
		return fallback, nil
	}
	f, err := strconv.ParseFloat(v, 64)
	if err != nil || math.IsNaN(f) || math.Abs(f) > 1e9 {
		return 0, badRequest(name, v, "give a number of seconds")
	}
	return f, nil
}

// answer cuts, marks the gaps and reduces.
func (a plotAsk) answer(c *columns, zero time.Time) (plotView, error) {
	names := a.channels
	if len(names) == 0 {
		names = c.names
	}
	out := plotView{Zero: zero, Series: make([]seriesView, 0, len(names))}
	for _, name := range names {
		s, ok := c.channel(name)
		if !ok {
			return out, badRequest("channels", name, "this rocket sent: "+strings.Join(c.names, ", "))
		}
		step := longestStep(s.t)
		s = between(s, a.from, a.to)
		of := len(s.t)
		if a.raw && of > maxRawPoints {
			return out, badRequest("points", "all", "that is over "+strconv.Itoa(maxRawPoints)+" samples: ask for a shorter stretch")
		}
		s = markGaps(s, step)
		if !a.raw {
			s = reduce(s, a.columns)
		}
		out.Series = append(out.Series, seriesView{Channel: name, T: s.t, V: s.v, Of: of})
	}
	return out, nil
}
