package tune

import (
	"fmt"
	"math"

	"padlark/flight/atmos"
)

// Family is a kind of rule.
type Family uint8

// The families. The numbers are those in the C header.
const (
	Drop      Family = 1 // so far below the highest
	Slope     Family = 2 // height less its low-pass, through zero
	AlphaBeta Family = 3 // speed of an alpha-beta filter, through zero
)

// Families are all families, in the order of tables.
func Families() []Family { return []Family{Drop, Slope, AlphaBeta} }

// String is the name as it is typed.
func (f Family) String() string {
	switch f {
	case Drop:
		return "drop"
	case Slope:
		return "slope"
	case AlphaBeta:
		return "alpha-beta"
	}
	return fmt.Sprintf("family %d", uint8(f))
}

// MarshalText writes the name.
func (f Family) MarshalText() ([]byte, error) { return []byte(f.String()), nil }

// UnmarshalText reads the name.
func (f *Family) UnmarshalText(text []byte) error {
	for _, k := range Families() {
		if k.String() == string(text) {
			*f = k
			return nil
		}
	}
	return fmt.Errorf("there is no rule %q: give drop, slope or alpha-beta", text)
}

// Settings are the numbers that go into the firmware, in its own units.
type Settings struct {
	Family Family `json:"family"`
	// DropCm is how far below the highest, in cm; only of Drop.
	DropCm int32 `json:"drop_cm"`
	// Shift sets the filter: it moves by 1/2^Shift of the difference with each
	// reading. Drop: of the low-pass before the comparison, 0 for none. Slope:
	// of both low-passes. AlphaBeta: alpha is 1/2^Shift, beta 1/2^(2*Shift+1).
	Shift uint8 `json:"shift"`
	// Samples is for how many readings in a row the condition must hold.
	Samples uint8 `json:"samples"`
	// Median takes the middle one of the last three readings first.
	Median bool `json:"median"`

	// ArmCm is the height above the pad in cm at which the rule is armed, once
	// ArmSamples readings in a row have it. 0 arms with the first reading.
	ArmCm      int32 `json:"arm_cm"`
	ArmSamples uint8 `json:"arm_samples"`
	// LockoutMs after arming nothing is released, in ms.
	LockoutMs uint32 `json:"lockout_ms"`
	// BackupMs after arming it is released whatever the rule says, in ms; 0
	// for no backup.
	BackupMs uint32 `json:"backup_ms"`

	// PadShift sets how slowly the pad's pressure is followed, as Shift.
	PadShift uint8 `json:"pad_shift"`
	// SlopeQ10 is the height of 1 dPa at the pad in cm, times 1024.
	SlopeQ10 int32 `json:"slope_q10"`
}

// Limits of what a board can be given. With them no sum or product in Step
// leaves 32 bits; see Step.
const (
	maxDropCm    = 50000
	maxArmCm     = 100000
	maxShift     = 5
	maxPadShift  = 12
	maxLockoutMs = 600000
	maxBackupMs  = 3600000
	minSlopeQ10  = 500
	maxSlopeQ10  = 1900
)

// Validate says what is out of range.
func (s Settings) Validate() error {
	least := uint8(1)
	if s.Family == Drop {
		least = 0
	}
	for _, c := range []struct {
		name   string
		v      int64
		lo, hi int64
		unit   string
	}{
		{"family", int64(s.Family), 1, 3, ""},
		{"shift", int64(s.Shift), int64(least), maxShift, ""},
		{"samples", int64(s.Samples), 1, 255, ""},
		{"arm_cm", int64(s.ArmCm), 0, maxArmCm, " cm"},
		{"arm_samples", int64(s.ArmSamples), 1, 255, ""},
		{"lockout_ms", int64(s.LockoutMs), 0, maxLockoutMs, " ms"},
		{"backup_ms", int64(s.BackupMs), 0, maxBackupMs, " ms"},
		{"pad_shift", int64(s.PadShift), 0, maxPadShift, ""},
		{"slope_q10", int64(s.SlopeQ10), minSlopeQ10, maxSlopeQ10, ""},
	} {
		if c.v < c.lo || c.v > c.hi {
			return fmt.Errorf("setting %s is %d%s: give %d to %d", c.name, c.v, c.unit, c.lo, c.hi)
		}
	}
	switch {
	case s.Family == Drop && (s.DropCm < 1 || s.DropCm > maxDropCm):
		return fmt.Errorf("setting drop_cm is %d cm: give 1 to %d", s.DropCm, maxDropCm)
	case s.Family != Drop && s.DropCm != 0:
		return fmt.Errorf("setting drop_cm is %d cm: a rule of family %v has none, give 0", s.DropCm, s.Family)
	case s.BackupMs > 0 && s.BackupMs <= s.LockoutMs:
		return fmt.Errorf("setting backup_ms is %d ms: give more than the lock-out of %d ms", s.BackupMs, s.LockoutMs)
	}
	return nil
}

// String is the rule without what all rules share, as in a table.
func (s Settings) String() string {
	text := s.Family.String()
	switch {
	case s.Family == Drop && s.Shift > 0:
		text += fmt.Sprintf(" %.2f m, 1/%d", float64(s.DropCm)/100, 1<<s.Shift)
	case s.Family == Drop:
		text += fmt.Sprintf(" %.2f m", float64(s.DropCm)/100)
	default:
		text += fmt.Sprintf(" 1/%d", 1<<s.Shift)
	}
	return text + fmt.Sprintf(", %dx", s.Samples)
}

// SlopeAt is the SlopeQ10 for a pad pressure in Pa and an air temperature in
// degrees Celsius: the hydrostatic height of 1 dPa. It is kept within the
// limits of Settings.
func SlopeAt(padPa, padC float64) int32 {
	cm := atmos.GasConstantISO * (padC + atmos.ZeroC) / (atmos.StandardGravity * padPa) * 10
	return int32(math.Round(min(max(cm*1024, minSlopeQ10), maxSlopeQ10)))
}

// padShiftFor is the PadShift that follows the pad over about five seconds at
// a rate in Hz.
func padShiftFor(rateHz float64) uint8 {
	return uint8(min(max(math.Floor(math.Log2(5*rateHz)), 1), maxPadShift))
}
