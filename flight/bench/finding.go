package bench

import (
	"fmt"
	"math"
	"strings"
	"time"

	"padlark/flight"
)

// Level is how a check came out.
type Level string

// The levels, and NotDone for a check that nobody made.
const (
	Good    Level = "good"
	Look    Level = "look"
	Bad     Level = "bad"
	NotDone Level = "not done"
)

// Finding is one check with its outcome. Unknown numbers are nil.
type Finding struct {
	Step  Step   `json:"step"`
	Check string `json:"check"` // in-kebab-case
	Title string `json:"title"`
	Level Level  `json:"level"`
	// Value in Unit with its standard deviation, where the check has a number.
	Value *float64 `json:"value"`
	SD    *float64 `json:"sd"`
	Unit  string   `json:"unit,omitempty"`
	// Limit says in words what is well.
	Limit string `json:"limit,omitempty"`
	// Words say what was found, Mend what to do where it is not well.
	Words string `json:"words"`
	Mend  string `json:"mend,omitempty"`
}

// Text is the number with its standard deviation and unit, "" without one.
func (f Finding) Text() string {
	if f.Value == nil {
		return ""
	}
	p := 2
	if f.SD == nil && *f.Value == math.Trunc(*f.Value) {
		p = 0 // a count
	} else if f.SD != nil && *f.SD > 0 {
		p = max(0, min(3, 1-int(math.Floor(math.Log10(*f.SD)))))
	} else if math.Abs(*f.Value) >= 100 {
		p = 0
	}
	s := fmt.Sprintf("%.*f", p, *f.Value)
	if f.SD != nil {
		s += fmt.Sprintf(" ± %.*f", p, *f.SD)
	}
	return strings.TrimSpace(s + " " + f.Unit)
}

// finding builds a Finding; the level is set by judge or directly.
func finding(step Step, check, title string) Finding {
	return Finding{Step: step, Check: check, Title: title, Level: Good}
}

func (f Finding) number(v, sd float64, unit string) Finding {
	f.Unit = unit
	if !math.IsNaN(v) && !math.IsInf(v, 0) {
		f.Value = &v
	}
	if sd > 0 && !math.IsInf(sd, 0) {
		f.SD = &sd
	}
	return f
}

// judge takes a size that should be small: up to look it is good, up to bad a
// look, above it bad.
func (f Finding) judge(size, look, bad float64) Finding {
	switch {
	case math.IsNaN(size) || size > bad:
		f.Level = Bad
	case size > look:
		f.Level = Look
	default:
		f.Level = Good
	}
	return f
}

func (f Finding) limit(format string, args ...any) Finding {
	f.Limit = fmt.Sprintf(format, args...)
	return f
}

func (f Finding) words(format string, args ...any) Finding {
	f.Words = fmt.Sprintf(format, args...)
	return f
}

// mend says what to do; it is dropped where all is well.
func (f Finding) mend(text string) Finding {
	if f.Level == Look || f.Level == Bad {
		f.Mend = text
	}
	return f
}

// notDone is a check that was not made.
func notDone(step Step, check, title, why string) Finding {
	return Finding{Step: step, Check: check, Title: title, Level: NotDone, Words: why}
}

// Trace is one stretch of readings to be drawn.
type Trace struct {
	Name string    `json:"name"`
	Unit string    `json:"unit"`
	T    []float64 `json:"t_s"`
	V    []float64 `json:"v"`
	// Marks are moments in it, by name.
	Marks []Mark `json:"marks,omitempty"`
}

// Mark is a moment of a trace.
type Mark struct {
	Name string  `json:"name"`
	T    float64 `json:"t_s"`
}

// Item is one line of the list before power.
type Item struct {
	Text      string `json:"text"`
	Confirmed bool   `json:"confirmed"`
}

// Report is a whole checkup.
type Report struct {
	Rocket  string    `json:"rocket"`
	Link    string    `json:"link"`
	At      time.Time `json:"at"` // when it began, UTC
	EndedAt time.Time `json:"ended_at"`
	// Level is the worst of the findings; Verdict says it, and why.
	Level    Level         `json:"level"`
	Verdict  string        `json:"verdict"`
	Frames   int           `json:"frames"`
	Before   []Item        `json:"before_power"`
	Findings []Finding     `json:"findings"`
	Allan    []AllanPoint  `json:"allan_m"` // of the height, in m
	Traces   []Trace       `json:"traces"`
	Cautions []string      `json:"cautions"`
	Config   flight.Rocket `json:"rocket_config"`
	Site     flight.Site   `json:"site"`
	// Version of the software that made it, filled by the caller.
	Version string `json:"version,omitempty"`
}

// Find gives the finding of a check; ok is false if it is not in the report.
func (r *Report) Find(check string) (Finding, bool) {
	for _, f := range r.Findings {
		if f.Check == check {
			return f, true
		}
	}
	return Finding{}, false
}

// verdict is the worst finding and its words, with what was left out.
func (r *Report) verdict() (Level, string) {
	count := map[Level]int{}
	first := map[Level]string{}
	for _, f := range r.Findings {
		if count[f.Level]++; count[f.Level] == 1 {
			first[f.Level] = f.Title + ": " + f.Words
		}
	}
	rest := ""
	if n := count[NotDone]; n > 0 {
		rest = fmt.Sprintf("; %d not done", n)
	}
	switch {
	case count[Bad] > 1:
		return Bad, fmt.Sprintf("bad: %s (and %d more)%s", first[Bad], count[Bad]-1, rest)
	case count[Bad] == 1:
		return Bad, "bad: " + first[Bad] + rest
	case count[Look] > 1:
		return Look, fmt.Sprintf("look: %s (and %d more)%s", first[Look], count[Look]-1, rest)
	case count[Look] == 1:
		return Look, "look: " + first[Look] + rest
	case count[Good] == 0:
		return Look, "look: nothing was checked"
	}
	return Good, fmt.Sprintf("good: %d checks passed%s", count[Good], rest)
}
