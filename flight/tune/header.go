package tune

import (
	"fmt"
	"strings"
)

// Entry is one line of the table that is typed into firmware.
type Entry struct {
	Name  string `json:"name"`
	Value int64  `json:"value"`
	Says  string `json:"says"`
}

// Entries are the settings as names and whole numbers.
func (s Settings) Entries() []Entry {
	median := int64(0)
	if s.Median {
		median = 1
	}
	return []Entry{
		{"APOGEE_FAMILY", int64(s.Family), "1 drop, 2 slope, 3 alpha-beta"},
		{"APOGEE_DROP_CM", int64(s.DropCm), "below the highest, cm (drop only)"},
		{"APOGEE_SHIFT", int64(s.Shift), "filter gain is 1/2^this; 0 none"},
		{"APOGEE_SAMPLES", int64(s.Samples), "readings in a row"},
		{"APOGEE_MEDIAN", median, "1: middle one of three readings first"},
		{"APOGEE_ARM_CM", int64(s.ArmCm), "height that arms the rule, cm"},
		{"APOGEE_ARM_SAMPLES", int64(s.ArmSamples), "readings in a row above it"},
		{"APOGEE_LOCKOUT_MS", int64(s.LockoutMs), "no release so long after arming, ms"},
		{"APOGEE_BACKUP_MS", int64(s.BackupMs), "release so long after arming, ms; 0 none"},
		{"APOGEE_PAD_SHIFT", int64(s.PadShift), "how slowly the pad is followed"},
		{"APOGEE_SLOPE_Q10", int64(s.SlopeQ10), "cm per 0.1 Pa at the pad, times 1024"},
	}
}

// cautions stand in every header: a rule that is right on paper can still hurt
// someone.
func cautions() []string {
	return []string{
		"The servo arm moves without warning when power is switched on, and when the rule releases, on the ground too. " +
			"Keep fingers, faces and the parachute's lines away from it while the board has power.",
		"Try a new rule on the bench, and in a jar whose air a syringe draws out, with nothing under pressure and no motor in the rocket. " +
			"Never try it with a pressurised bottle or a motor attached.",
		"The numbers hold for the flights they were tried on, at the rate of readings they were tried at. " +
			"Another rocket, sensor or rate needs others.",
		"Follow your local code and what the range safety officer says.",
	}
}

// Header is the settings as a C header for deploy/firmware/apogee.c. About
// are further lines that say where the numbers come from.
func (s Settings) Header(rateHz float64, about ...string) string {
	var b strings.Builder
	b.WriteString("/* apogee_settings.h - numbers for apogee.c, printed by padlark tune.\n *\n")
	fmt.Fprintf(&b, " * Rule: %v, with %.4g readings a second.\n", s, rateHz)
	for _, a := range about {
		comment(&b, "", a)
	}
	b.WriteString(" *\n * Cautions:\n")
	for _, c := range cautions() {
		comment(&b, "- ", c)
	}
	b.WriteString(" */\n#ifndef APOGEE_SETTINGS_H\n#define APOGEE_SETTINGS_H\n\n")
	for _, e := range s.Entries() {
		value := fmt.Sprint(e.Value)
		if e.Value > 32767 {
			value += "L" // int has 16 bits on the boards this is for
		}
		fmt.Fprintf(&b, "#define %-19s %-8s/* %s */\n", e.Name, value, e.Says)
	}
	b.WriteString("\n#endif\n")
	return b.String()
}

// comment writes text as lines of a C comment, at most 78 columns wide.
func comment(b *strings.Builder, lead, text string) {
	text = strings.ReplaceAll(text, "*/", "* /")
	line := lead
	for _, word := range strings.Fields(text) {
		if len(line) > len(lead) && len(" * ")+len(line)+1+len(word) > 78 {
			b.WriteString(strings.TrimRight(" * "+line, " ") + "\n")
			line = strings.Repeat(" ", len(lead))
		}
		if len(line) > len(lead) {
			line += " "
		}
		line += word
	}
	b.WriteString(strings.TrimRight(" * "+line, " ") + "\n")
}
