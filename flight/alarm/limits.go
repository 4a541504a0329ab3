package alarm

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
)

// Thresholds is the [alarm] table of the configuration: the limits per kind
// of rocket, and the rules that somebody wants silent.
type Thresholds struct {
	// Off lists kinds of alarm that are never raised.
	Off []string `toml:"off" json:"off,omitempty"`
	// Water and Solid override the defaults for that kind of rocket. A zero
	// means the default.
	Water Limits `toml:"water" json:"water,omitzero"`
	Solid Limits `toml:"solid" json:"solid,omitzero"`
}

// Limits are the thresholds of the rules. Zero means the default, so a limit
// cannot be set to 0; to silence a rule name it in Thresholds.Off.
type Limits struct {
	// In flight.

	// InflateS is how long a parachute that is released at the apogee may take
	// until it brakes, in s.
	InflateS float64 `toml:"inflate_s" json:"inflate_s,omitempty"`
	// EarlyReleaseS: a release this long before the apogee, in s, is early.
	EarlyReleaseS float64 `toml:"early_release_s" json:"early_release_s,omitempty"`
	// BallisticShare is the share of the free-fall speed from which a descent
	// counts as ballistic.
	BallisticShare float64 `toml:"ballistic_share" json:"ballistic_share,omitempty"`
	// BallisticMps is the slowest fall, in m/s, that counts as ballistic.
	BallisticMps float64 `toml:"ballistic_mps" json:"ballistic_mps,omitempty"`
	// FastMps is the slowest sink, in m/s, that counts as fast.
	FastMps float64 `toml:"fast_mps" json:"fast_mps,omitempty"`
	// FastShare and SlowShare bound the sink rate under the parachute, as
	// shares of the rate expected from mass, diameter and drag coefficient.
	FastShare float64 `toml:"fast_share" json:"fast_share,omitempty"`
	SlowShare float64 `toml:"slow_share" json:"slow_share,omitempty"`
	// DescentHoldS is how long, in s, the sink rate must be out of bounds.
	DescentHoldS float64 `toml:"descent_hold_s" json:"descent_hold_s,omitempty"`
	// DumpWaitS is how long after a pressure dump or a jolt on the pad the
	// liftoff may take, in s.
	DumpWaitS float64 `toml:"dump_wait_s" json:"dump_wait_s,omitempty"`
	// JoltMps2 is the acceleration beside gravity, in m/s2, that counts as a
	// jolt on the pad.
	JoltMps2 float64 `toml:"jolt_mps2" json:"jolt_mps2,omitempty"`
	// SilentFlightS and SilentPadS: nothing heard for so long, in s.
	SilentFlightS float64 `toml:"silent_flight_s" json:"silent_flight_s,omitempty"`
	SilentPadS    float64 `toml:"silent_pad_s" json:"silent_pad_s,omitempty"`

	// On the pad.

	// SitePressurePa is how far a reading may be from the measured station
	// pressure, WeatherPa how far from the standard pressure at the site's
	// elevation when no station pressure is given, OthersPa how far from the
	// other rockets on the pad, in Pa.
	SitePressurePa float64 `toml:"site_pressure_pa" json:"site_pressure_pa,omitempty"`
	WeatherPa      float64 `toml:"weather_pa" json:"weather_pa,omitempty"`
	OthersPa       float64 `toml:"others_pa" json:"others_pa,omitempty"`
	// StuckS: the very same reading for so long, in s.
	StuckS float64 `toml:"stuck_s" json:"stuck_s,omitempty"`
	// NoiseM is the largest white noise of the height on the pad, in m rms.
	NoiseM float64 `toml:"noise_m" json:"noise_m,omitempty"`
	// DriftM is how far the height may wander on the pad within 30 s, in m.
	DriftM float64 `toml:"drift_m" json:"drift_m,omitempty"`
	// StepPa is the coarsest step between readings, in Pa.
	StepPa float64 `toml:"step_pa" json:"step_pa,omitempty"`
	// RateShare is how far the sample rate may be from the configured one, as
	// a share of it.
	RateShare float64 `toml:"rate_share" json:"rate_share,omitempty"`
	// SagV is the deepest dip of the supply under servo load, per lithium cell,
	// in V; RecoverV how far below its rest it may still be 1.5 s later.
	SagV     float64 `toml:"sag_v" json:"sag_v,omitempty"`
	RecoverV float64 `toml:"recover_v" json:"recover_v,omitempty"`
	// ServoMoveUs is how far the pulse may move on the pad, in us.
	ServoMoveUs float64 `toml:"servo_move_us" json:"servo_move_us,omitempty"`
	// Arms says when the board arms its apogee rule: "flight" after liftoff
	// (the default) or "pad" by a switch.
	Arms string `toml:"arms" json:"arms,omitempty"`
	// ArmWithinS is how long after liftoff the rule may still be unarmed, in s.
	ArmWithinS float64 `toml:"arm_within_s" json:"arm_within_s,omitempty"`
	// ClockJumpS is the least jump of the board's clock that is told, in s.
	ClockJumpS float64 `toml:"clock_jump_s" json:"clock_jump_s,omitempty"`

	// Link.

	// LossShare is the share of frames that may be lost over 10 s.
	LossShare float64 `toml:"loss_share" json:"loss_share,omitempty"`
	// CollisionShare is the share that two boards on one link must both lose
	// to be suspected of sending over each other.
	CollisionShare float64 `toml:"collision_share" json:"collision_share,omitempty"`
	// WeakDbm is the weakest signal, in dBm.
	WeakDbm float64 `toml:"weak_dbm" json:"weak_dbm,omitempty"`

	// After landing.

	// HungM is the height above the pad, in m, at which a landed rocket counts
	// as hung in a tree or on a roof.
	HungM float64 `toml:"hung_m" json:"hung_m,omitempty"`
	// RestS is how long after the landing, in s, a rocket may take to come to
	// rest; RestM how much its height may still wander, in m rms.
	RestS float64 `toml:"rest_s" json:"rest_s,omitempty"`
	RestM float64 `toml:"rest_m" json:"rest_m,omitempty"`
	// ServoOffS is how long after the landing the servo may still be driven
	// open, in s.
	ServoOffS float64 `toml:"servo_off_s" json:"servo_off_s,omitempty"`
}

// defaults gives the limits for a kind of rocket, "water" or "solid". They are
// common practice, no source, unless the rule's page says otherwise.
func defaults(kind string) Limits {
	l := Limits{
		InflateS: 0.8, EarlyReleaseS: 0.6,
		BallisticShare: 0.6, BallisticMps: 6, FastMps: 5.5,
		FastShare: 1.6, SlowShare: 0.5, DescentHoldS: 1.2,
		DumpWaitS: 2, JoltMps2: 15,
		SilentFlightS: 2, SilentPadS: 10,
		SitePressurePa: 500, WeatherPa: 5000, OthersPa: 600,
		StuckS: 3, NoiseM: 2, DriftM: 5, StepPa: 25, RateShare: 0.2,
		SagV: 0.5, RecoverV: 0.15, ServoMoveUs: 60,
		Arms: armsInFlight, ArmWithinS: 1.2, ClockJumpS: 0.5,
		LossShare: 0.5, CollisionShare: 0.25, WeakDbm: -110,
		HungM: 5, RestS: 10, RestM: 1.3, ServoOffS: 20,
	}
	if kind == "solid" {
		// A motor burns for seconds and the flight is higher: boards arm
		// later, and a parachute opens in a faster stream.
		l.ArmWithinS = 4
		l.EarlyReleaseS = 1
		l.SilentFlightS = 2.5
		l.HungM = 8
	}
	return l
}

// Values of Limits.Arms.
const (
	armsInFlight = "flight"
	armsOnPad    = "pad"
)

// limitsFor lays the configured limits over the defaults of the rocket's kind.
func (t Thresholds) limitsFor(kind string) Limits {
	over := t.Water
	if kind == "solid" {
		over = t.Solid
	}
	l := defaults(kind)
	dst, src := reflect.ValueOf(&l).Elem(), reflect.ValueOf(over)
	for i := 0; i < dst.NumField(); i++ {
		if !src.Field(i).IsZero() {
			dst.Field(i).Set(src.Field(i))
		}
	}
	return l
}

// Validate says what is wrong with the thresholds, naming the key and what
// would mend it.
func (t Thresholds) Validate() error {
	for _, k := range t.Off {
		if slices.ContainsFunc(stationKinds, func(i Info) bool { return i.Kind == k }) {
			return fmt.Errorf("alarm.off: %s is an alarm of the station and cannot be silenced; acknowledge it, and mend its cause", k)
		}
		if kindIndex(k) < 0 {
			return fmt.Errorf("alarm.off: no alarm is called %q; the kinds are %s", k, strings.Join(kindNames(), ", "))
		}
	}
	if err := t.Water.validate("alarm.water"); err != nil {
		return err
	}
	return t.Solid.validate("alarm.solid")
}

// validate checks one table of limits; where is its name in the configuration.
func (l Limits) validate(where string) error {
	if l.Arms != "" && l.Arms != armsInFlight && l.Arms != armsOnPad {
		return fmt.Errorf("%s.arms: %q is neither %q nor %q", where, l.Arms, armsInFlight, armsOnPad)
	}
	v := reflect.ValueOf(l)
	for i := 0; i < v.NumField(); i++ {
		f := v.Field(i)
		if f.Kind() != reflect.Float64 {
			continue
		}
		key, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("toml"), ",")
		x := f.Float()
		switch {
		case math.IsNaN(x) || math.IsInf(x, 0):
			return fmt.Errorf("%s.%s: %v is not a number; give a finite one", where, key, x)
		case key == "weak_dbm":
			if x > 0 {
				return fmt.Errorf("%s.%s: %v dBm is stronger than any receiver hears; give a negative number", where, key, x)
			}
		case x < 0:
			return fmt.Errorf("%s.%s: %v is negative; give a positive number, or leave it out for the default", where, key, x)
		}
	}
	if l.FastShare != 0 && l.FastShare <= 1 {
		return fmt.Errorf("%s.fast_share: %v would call the expected sink rate fast; give more than 1", where, l.FastShare)
	}
	if l.SlowShare >= 1 {
		return fmt.Errorf("%s.slow_share: %v would call the expected sink rate slow; give less than 1", where, l.SlowShare)
	}
	if l.BallisticShare > 1 {
		return fmt.Errorf("%s.ballistic_share: nothing falls faster than free fall, so %v never holds; give 1 at most", where, l.BallisticShare)
	}
	return nil
}
