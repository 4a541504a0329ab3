package tune

import (
	"fmt"
	"math"
)

// explain says in sentences what a rule does and what is to be expected of it.
// Fresh are statistics of flights that had no part in choosing it.
func explain(fresh Stats, rateHz float64) []string {
	s := fresh.Settings
	out := []string{does(s, rateHz), shares(s)}
	out = append(out, expect(fresh)...)
	return out
}

// does is the rule itself.
func does(s Settings, rateHz float64) string {
	held := fmt.Sprintf("%d readings in a row (%.2f s)", s.Samples, float64(s.Samples)/rateHz)
	if s.Samples == 1 {
		held = "one reading"
	}
	tau := float64(int(1)<<s.Shift-1) / rateHz
	switch {
	case s.Family == Drop && s.Shift > 0:
		return fmt.Sprintf("It releases when the height, smoothed over some %.2f s, has been %.2f m or more below the highest smoothed height for %s.",
			tau, float64(s.DropCm)/100, held)
	case s.Family == Drop:
		return fmt.Sprintf("It releases when the height has been %.2f m or more below the highest for %s.", float64(s.DropCm)/100, held)
	case s.Family == Slope:
		return fmt.Sprintf("It smooths the height twice over some %.2f s and releases when the height has no longer been above its smoothed course for %s.",
			tau, held)
	}
	return fmt.Sprintf("It follows height and speed with an alpha-beta filter (alpha 1/%d, beta 1/%d) and releases when the speed has not been upward for %s.",
		1<<s.Shift, 1<<(2*s.Shift+1), held)
}

// shares is what all rules have.
func shares(s Settings) string {
	text := "It is armed at once"
	if s.ArmCm > 0 {
		text = fmt.Sprintf("It is armed %.1f m above the pad (%d readings in a row)", float64(s.ArmCm)/100, s.ArmSamples)
	}
	text += fmt.Sprintf(", does nothing for %.1f s after that", float64(s.LockoutMs)/1000)
	if s.BackupMs > 0 {
		text += fmt.Sprintf(", and releases %.1f s after arming whatever it has read", float64(s.BackupMs)/1000)
	} else {
		text += ", and has no backup time"
	}
	if s.Median {
		text += ". Of each three readings it takes the middle one, so that a lone wrong one does no harm"
	}
	return text + "."
}

// expect is what the flights say.
func expect(f Stats) []string {
	if f.LagS == nil {
		return []string{"In none of the flights did it release."}
	}
	out := []string{
		fmt.Sprintf("Of %d flights it released early in %s, and not before the ground in %s.", f.Early.Of, inWords(f.Early), inWords(f.Never)),
		fmt.Sprintf("Half of the releases came within %.2f s after apogee and 95 of 100 within %.2f s; then the rocket was %.1f m below its apogee and moved at %.1f m/s or less.",
			f.LagS.P50, f.LagS.P95, f.BelowM.P95, math.Max(math.Abs(f.SpeedMps.P5), math.Abs(f.SpeedMps.P95))),
	}
	if f.Backup.Count > 0 {
		out = append(out, fmt.Sprintf("In %s only the backup time released.", inWords(f.Backup)))
	}
	return out
}

// inWords is a rate with its interval.
func inWords(r Rate) string {
	if r.Count == 0 {
		return fmt.Sprintf("none (95 %% sure: fewer than %.2g in 1000)", 1000*r.High)
	}
	return fmt.Sprintf("%d (%.2g in 1000; 95 %% sure: %.2g to %.2g)", r.Count, 1000*r.Share, 1000*r.Low, 1000*r.High)
}
