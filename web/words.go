package web

import (
	"fmt"
	"html/template"
	"math"
	"strings"
	"time"

	"padlark/flight"
	"padlark/flight/phrase"
)

// resultRow is one line of a flight's table of results. The page's script turns
// Kind and SI into the units that the person chooses there; Text is for printing
// and for browsers without scripts.
type resultRow struct {
	Name string
	Kind string // height, speed, accel, time; "" for plain text
	SI   *float64
	SD   *float64
	Text string
	Why  string // what the number is, for a title
}

func (u reader) resultRows(r flight.Result) []resultRow {
	row := func(name, kind string, v, sd *float64, why string) resultRow {
		return resultRow{u.Say(name), kind, v, sd, u.Num(kind, v, sd), u.Say(why)}
	}
	rows := []resultRow{
		row("Apogee", "height", r.ApogeeM, r.ApogeeSD, "above the pad"),
		row("Time to apogee", "time", r.TimeToApogeeS, r.TimeToApogeeSD, "from liftoff to apogee"),
		row("Fastest", "speed", r.MaxSpeedMps, r.MaxSpeedSD, "upward"),
		row("Hardest push", "accel", r.MaxAccelMps2, r.MaxAccelSD, "largest acceleration"),
		row("Burnout", "time", r.BurnoutS, r.BurnoutSD, "after liftoff"),
		row("Release", "time", r.ReleaseLagS, r.ReleaseLagSD, "after apogee; below zero: before it"),
		row("Sink rate", "speed", r.DescentMps, r.DescentSD, "mean, under the parachute"),
		row("In the air", "time", r.DurationS, nil, "from liftoff to touchdown"),
		row("Apogee called late by", "time", r.ApogeeCalledLate, nil, "the live call minus the apogee found afterwards"),
	}
	frames := u.Write(phrase.Of("frames-heard", phrase.Qty("heard", float64(r.Frames), 0, ""), phrase.Qty("lost", float64(r.LostFrames), 0, "")), "")
	return append(rows, resultRow{Name: u.Say("Frames"), Text: frames, Why: u.Say("on all links together")})
}

func decimalsFor(kind string) int {
	if kind == "time" || kind == "volts" {
		return 2
	}
	return 1
}

// plusDecimals shows the deviation's first digit, the first two if it begins
// with 1 (common practice, no source).
func plusDecimals(sd float64) int {
	e := int(math.Floor(math.Log10(sd)))
	if sd/math.Pow(10, float64(e)) < 2 {
		e--
	}
	return max(0, min(3, -e))
}

// plusMinus is the ± part alone.
func plusMinus(sd *float64) string {
	if sd == nil || !(*sd > 0) {
		return ""
	}
	return fmt.Sprintf("± %.*f", plusDecimals(*sd), *sd)
}

// trimMinus uses the minus sign that has the width of a digit, and none for what
// rounds to zero.
func trimMinus(s string) string {
	first, _, _ := strings.Cut(s, " ")
	if strings.HasPrefix(s, "-") && !strings.ContainsAny(first, "123456789") {
		return s[1:]
	}
	return strings.Replace(s, "-", "\u2212", 1)
}

// clockTime is a time of day in local time, as an element of the page.
func clockTime(t any) template.HTML { return timeElement(t, "clock", "15:04:05") }

// dayTime is a date and time of day in local time, as an element of the page.
func dayTime(t any) template.HTML { return timeElement(t, "day", "2006-01-02 15:04") }

// timeElement writes a time where the station is; frame.js rewrites it for
// where the reader is.
func timeElement(t any, as, layout string) template.HTML {
	var at time.Time
	switch v := t.(type) {
	case time.Time:
		at = v
	case *time.Time:
		if v != nil {
			at = *v
		}
	}
	if at.IsZero() {
		return "not known"
	}
	// Nothing here comes from outside: digits, colons and our own words.
	return template.HTML(fmt.Sprintf(`<time datetime="%s" data-as="%s">%s</time>`,
		at.UTC().Format(time.RFC3339Nano), as, at.Local().Format(layout)))
}

// spanWords is the time between two instants for a person.
func spanWords(from time.Time, to *time.Time) string {
	if to == nil {
		return "not known"
	}
	d := to.Sub(from).Round(time.Second)
	switch {
	case d >= time.Hour:
		return fmt.Sprintf("%d h %02d min", int(d.Hours()), int(d.Minutes())%60)
	case d >= time.Minute:
		return fmt.Sprintf("%d min %02d s", int(d.Minutes()), int(d.Seconds())%60)
	}
	return fmt.Sprintf("%d s", int(d.Seconds()))
}

// sizeWords is a number of bytes for people.
func sizeWords(n uint64) string {
	switch {
	case n >= 10_000_000:
		return fmt.Sprintf("%.0f MB", float64(n)/1e6)
	case n >= 1_000_000:
		return fmt.Sprintf("%.1f MB", float64(n)/1e6)
	case n >= 1000:
		return fmt.Sprintf("%.0f kB", float64(n)/1e3)
	}
	return fmt.Sprintf("%d bytes", n)
}
