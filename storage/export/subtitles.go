package export

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"time"

	"padlark/flight"
)

// cueEvery is how long one line of numbers stays, cueEvent how long an event does.
const (
	cueEvery = 500 * time.Millisecond
	cueEvent = 2 * time.Second
)

// Subtitles writes height, speed and events of a flight as subtitles to lay over a
// video of it: WebVTT (W3C Candidate Recommendation of 4 April 2019), or SubRip's
// form for srt. liftoff is when the rocket leaves the pad in the video.
func Subtitles(w io.Writer, form string, c *Course, events []flight.Event, liftoff time.Duration) (cues int, err error) {
	if c.Result.LaunchedAt == nil || len(c.Series.T) == 0 {
		return 0, fmt.Errorf("export %s: the flight has no liftoff, or too few samples to know its course", form)
	}
	out := bufio.NewWriter(w)
	if form == "vtt" {
		fmt.Fprint(out, "WEBVTT\n\n")
	}
	launched := *c.Result.LaunchedAt
	last := c.Series.Start.Add(time.Duration(c.Series.T[len(c.Series.T)-1] * float64(time.Second))).Sub(launched)
	if c.Result.TouchdownAt != nil {
		last = min(last, c.Result.TouchdownAt.Sub(launched)+cueEvent)
	}
	for t := time.Duration(0); t <= last; t += cueEvery {
		if liftoff+t < 0 {
			continue // before the video begins
		}
		at := launched.Add(t)
		height, speed := c.at(heightM, at), c.at(speedMps, at)
		if height != height || speed != speed {
			continue
		}
		text := fmt.Sprintf("%s  %.0f m  %+.0f m/s  %.1f s", c.Result.Rocket, height, speed, t.Seconds())
		for _, e := range events {
			if since := at.Sub(e.At); since >= 0 && since < cueEvent {
				text += "\n" + eventText(e)
			}
		}
		cues++
		fmt.Fprintf(out, "%d\n%s --> %s\n%s\n\n", cues, cueTime(liftoff+t, form), cueTime(liftoff+t+cueEvery, form), cueText(text, form))
	}
	if err := out.Flush(); err != nil {
		return cues, fmt.Errorf("export %s: %w", form, err)
	}
	return cues, nil
}

func eventText(e flight.Event) string {
	if e.AltitudeM != nil && e.Kind == flight.Apogee {
		return fmt.Sprintf("%s %.1f m", e.Kind, *e.AltitudeM)
	}
	return string(e.Kind)
}

// cueTime is 00:01:02.345, with a comma in srt.
func cueTime(d time.Duration, form string) string {
	ms := d.Milliseconds()
	point := "."
	if form == "srt" {
		point = ","
	}
	return fmt.Sprintf("%02d:%02d:%02d%s%03d", ms/3_600_000, ms/60_000%60, ms/1000%60, point, ms%1000)
}

// cueText takes out what the formats would read as orders: tags and entities.
func cueText(s, form string) string {
	if form == "srt" { // which has no entities
		return strings.NewReplacer("<", "(", ">", ")").Replace(s)
	}
	return strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;").Replace(s)
}
