package main

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"

	"padlark/flight/tune"
)

// printTune writes the result in words, at most 80 columns wide.
func printTune(w io.Writer, r *tuneResult, all bool) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "Release rules on %d simulated flights (%s), seed %d\n", r.Draws, r.Ensemble, r.Seed)
	wrap(b, "  ", r.Says+".")
	if r.Configured != "" {
		wrap(b, "  ", "From the configuration: "+r.Configured+".")
	}
	printRecordedTraits(b, r)
	wrap(b, "  ", fmt.Sprintf("Every rule is armed at %.1f m. From there the apogee is %.1f s to %.1f s away. A release more than %.2f s before apogee counts as early.",
		r.ArmM, r.Times.ShortestS, r.Times.LongestS, r.EarlyS))
	printTradeOff(b, r, all)
	printChecks(b, r)
	printRecommended(b, r)
	printRecorded(b, r)
	fmt.Fprintf(b, "\nCautions\n")
	for _, c := range r.Cautions {
		wrap(b, "  - ", c)
	}
	fmt.Fprintln(b)
	wrap(b, "Verdict: ", r.Verdict)
	return b.Flush()
}

func printRecordedTraits(b io.Writer, r *tuneResult) {
	if t := r.Traits; t != nil {
		wrap(b, "  ", fmt.Sprintf("%d recorded flights: apogee %.0f to %.0f m, %.1f readings a second, noise %.2f to %.2f m, steps of %.1f Pa.",
			t.Flights, t.ApogeeM[0], t.ApogeeM[1], t.RateHz, t.NoiseM[0], t.NoiseM[1], t.StepPa))
	}
	for _, l := range r.Left {
		wrap(b, "  ", "Left out: "+l)
	}
}

// printTradeOff prints the settings that none other beats and the best of each
// family, or all.
func printTradeOff(b io.Writer, r *tuneResult, all bool) {
	show := tune.Front(r.Stats)
	if all {
		show = show[:0]
		for i := range r.Stats {
			show = append(show, i)
		}
	}
	for _, x := range r.Best {
		if !slices.Contains(show, x.Index) {
			show = append(show, x.Index)
		}
	}
	slices.SortStableFunc(show, func(i, k int) int {
		a, c := lateOf(&r.Stats[i]), lateOf(&r.Stats[k])
		switch {
		case a < c:
			return -1
		case a > c:
			return 1
		}
		return i - k
	})
	if !all {
		fmt.Fprintf(b, "\nThe fastest for each risk, and the best of each kind (%d of %d; * recommended)\n", len(show), len(r.Stats))
	} else {
		fmt.Fprintf(b, "\nAll settings (* recommended)\n")
	}
	fmt.Fprintf(b, "%-23s%-21s%6s%6s%6s%6s%6s%6s\n", "", "fails in 1000", "early", "never", "lag s", "lag s", "below", "speed")
	fmt.Fprintf(b, "%-23s%-21s%6s%6s%6s%6s%6s%6s\n", "", "       (95 % sure)", "", "", "50 %", "95 %", "m", "m/s")
	for _, i := range show {
		mark := "  "
		if i == r.Best[0].Index {
			mark = "* "
		}
		printRow(b, mark, &r.Stats[i])
	}
	wrap(b, "  ", "For example \"drop 1.50 m, 1/4, 3x\" is 1.50 m below the highest, smoothed by 1/4, three readings in a row. "+
		"Below and speed: in 95 of 100 releases the rocket is no further below its apogee, and no faster.")
}

// lateOf is the lag that 95 of 100 releases keep.
func lateOf(s *tune.Stats) float64 {
	if s.LagS == nil {
		return math.Inf(1)
	}
	return s.LagS.P95
}

func printRow(b io.Writer, mark string, s *tune.Stats) {
	f := s.Failed
	fails := fmt.Sprintf("%s (%s to %s)", perMille(f.Share), perMille(f.Low), perMille(f.High))
	fmt.Fprintf(b, "%s%-21s%-21s%6d%6d", mark, s.Settings, fails, s.Early.Count, s.Never.Count)
	if s.LagS == nil {
		fmt.Fprintf(b, "%6s%6s%6s%6s\n", "–", "–", "–", "–")
		return
	}
	fmt.Fprintf(b, "%6.2f%6.2f%6.1f%6.1f\n", s.LagS.P50, s.LagS.P95, s.BelowM.P95, fastest(s))
}

// fastest is the vertical speed in m/s, up or down, that 95 of 100 releases keep.
func fastest(s *tune.Stats) float64 {
	return math.Max(math.Abs(s.SpeedMps.P5), math.Abs(s.SpeedMps.P95))
}

// perMille is a share in 1000, with two figures and no exponent.
func perMille(share float64) string {
	v := 1000 * share
	switch {
	case v >= 9.95:
		return fmt.Sprintf("%.0f", v)
	case v >= 0.995:
		return fmt.Sprintf("%.1f", v)
	case v == 0:
		return "0"
	}
	return fmt.Sprintf("%.2f", v)
}

// printChecks prints what fresh flights made of the best.
func printChecks(b io.Writer, r *tuneResult) {
	fmt.Fprintf(b, "\nThe best of each kind again, on %d fresh flights\n", r.Draws)
	for i := range r.Best {
		x := &r.Best[i]
		mark := "  "
		if i == 0 {
			mark = "* "
		}
		printRow(b, mark, &x.Fresh)
		if !x.Agrees {
			wrap(b, "    ", "This disagrees with the first flights by more than chance.")
		}
	}
	if p := r.PadArmed; p != nil {
		wrap(b, "  ", fmt.Sprintf("On the pad, in wind and with drift, the recommended one was armed by mistake in %d of %d hours (95 %% sure: at most %.0f in 100).",
			p.Count, p.Of, 100*p.High))
	}
}

func printRecommended(b io.Writer, r *tuneResult) {
	x := &r.Best[0]
	fmt.Fprintf(b, "\nRecommended: %v\n", x.Settings)
	for _, s := range r.Explained {
		wrap(b, "  ", s)
	}
	why := "Of the settings that keep the limit, and release no more than 0.1 s later than the fastest of them, it failed least: a servo takes longer than that to turn."
	if !x.Sure {
		why = "None keeps the limit; it is the one that fails least."
	}
	wrap(b, "  ", why)
	if r.Times.BackupS > 0 {
		text := fmt.Sprintf("The backup of %.1f s is later than every climb that was simulated, so that it cuts none short.", r.Times.BackupS)
		if r.Times.BackupS <= r.Times.LongestS {
			text = fmt.Sprintf("The backup of %.1f s is SHORTER than the longest climb of %.1f s: it opens at speed then.", r.Times.BackupS, r.Times.LongestS)
		}
		if r.Times.TooLate > 0 {
			text += fmt.Sprintf(" In %.2g %% of the flights a rocket without its parachute is on the ground before it.", 100*r.Times.TooLate)
		}
		wrap(b, "  ", text)
	}
	fmt.Fprintf(b, "\nTo type into the firmware (--header writes it for deploy/firmware/apogee.c)\n")
	for _, e := range r.Firmware {
		fmt.Fprintf(b, "  %-20s%8d   %s\n", e.Name, e.Value, e.Says)
	}
}

func printRecorded(b io.Writer, r *tuneResult) {
	if len(r.Recorded) == 0 {
		return
	}
	fmt.Fprintf(b, "\nThe recommended one on recorded flights\n")
	fmt.Fprintf(b, "%-42s%9s%8s%9s%10s\n", "", "apogee m", "lag s", "height m", "speed m/s")
	for _, f := range r.Recorded {
		name := clip(f.Flight, 40)
		if f.LagS == nil {
			fmt.Fprintf(b, "  %-40s%9.1f   NOT RELEASED before the ground\n", name, f.ApogeeM)
			continue
		}
		note := ""
		switch {
		case f.Early:
			note = " !"
		case f.Backup:
			note = " b"
		case f.AfterOpen:
			note = " o"
		}
		fmt.Fprintf(b, "  %-40s%9.1f%8.2f%9.1f%10.1f%s\n", name, f.ApogeeM, *f.LagS, *f.HeightM, *f.SpeedMps, note)
	}
	wrap(b, "  ", "! early; b by the backup time; o after that day's own release, so under the parachute: "+
		"the lag would be shorter, and the speed higher, without it.")
}
