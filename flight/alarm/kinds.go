package alarm

import (
	"embed"
	"sort"
	"strings"
)

//go:embed pages/*.md
var pages embed.FS

// Info names one kind of alarm.
type Info struct {
	Kind  string // in-kebab-case, as in flight.Alarm
	Title string // one plain line
	Where string // flight, pad, link, landed or station
}

// kind ties a rule to its name.
type kind struct {
	Info
	make func() rule
}

// kinds are all rules, most urgent first.
var kinds = []kind{
	{Info{"ballistic", "coming down without a parachute", "flight"}, func() rule { return &ballistic{} }},
	{Info{"no-release", "no release within the expected time after apogee", "flight"}, func() rule { return &noRelease{} }},
	{Info{"early-release", "release before apogee", "flight"}, func() rule { return &earlyRelease{} }},
	{Info{"reboot", "the board started again", "flight"}, func() rule { return &reboot{} }},
	{Info{"silent", "nothing heard from the rocket", "flight"}, func() rule { return &silent{} }},
	{Info{"fast-descent", "sinking faster than the parachute should let it", "flight"}, func() rule { return &fastDescent{} }},
	{Info{"no-liftoff", "a pressure dump or a jolt on the pad, and no liftoff", "flight"}, func() rule { return &noLiftoff{} }},
	{Info{"out-of-field", "leaving the field, or about to", "flight"}, func() rule { return &outOfField{} }},
	{Info{"slow-descent", "sinking slower than expected, and drifting", "flight"}, func() rule { return &slowDescent{} }},
	{Info{"not-armed", "the apogee rule is not armed", "pad"}, func() rule { return &notArmed{} }},
	{Info{"armed-early", "the apogee rule is armed too early", "pad"}, func() rule { return &armedEarly{} }},
	{Info{"servo-range", "servo pulse outside its safe range", "pad"}, func() rule { return &servoRange{} }},
	{Info{"servo-moving", "the release servo moves on the pad", "pad"}, func() rule { return &servoMoving{} }},
	{Info{"wrong-supply", "the supply is not the one configured", "pad"}, func() rule { return &wrongSupply{} }},
	{Info{"cell-low", "the supply is low", "pad"}, func() rule { return &cellLow{} }},
	{Info{"cell-sag", "the supply dips under the servo's load", "pad"}, func() rule { return &cellSag{} }},
	{Info{"sensor-stuck", "the pressure does not change at all", "pad"}, func() rule { return &sensorStuck{} }},
	{Info{"sensors-apart", "a board's two barometers disagree", "pad"}, func() rule { return &sensorsApart{} }},
	{Info{"sensor-noisy", "the pressure is noisier than a good sensor", "pad"}, func() rule { return &sensorNoisy{} }},
	{Info{"sensor-drift", "the height wanders on the pad", "pad"}, func() rule { return &sensorDrift{} }},
	{Info{"sensor-coarse", "the pressure comes in coarse steps", "pad"}, func() rule { return &sensorCoarse{} }},
	{Info{"implausible-pressure", "pressure that the site cannot have", "pad"}, func() rule { return &implausible{} }},
	{Info{"odd-one-out", "pressure unlike the other rockets'", "pad"}, func() rule { return &oddOneOut{} }},
	{Info{"rate-wrong", "samples come at the wrong rate", "pad"}, func() rule { return &rateWrong{} }},
	{Info{"duplicate-id", "two boards send under one id", "pad"}, func() rule { return &duplicateID{} }},
	{Info{"clock-jump", "the board's clock jumped", "pad"}, func() rule { return &clockJump{} }},
	{Info{"collision", "two boards send over each other", "link"}, func() rule { return &collision{} }},
	{Info{"losses", "many frames are lost", "link"}, func() rule { return &losses{} }},
	{Info{"weak-signal", "the signal is weak", "link"}, func() rule { return &weakSignal{} }},
	{Info{"hung", "landed well above the ground", "landed"}, func() rule { return &hung{} }},
	{Info{"not-at-rest", "not at rest after the landing", "landed"}, func() rule { return &notAtRest{} }},
	{Info{"servo-on", "the servo still draws current after the landing", "landed"}, func() rule { return &servoOn{} }},
	{Info{"cell-flat", "the supply is discharged too far", "landed"}, func() rule { return &cellFlat{} }},
}

// Kinds of alarm of the station itself. No rule here raises them: the parts of
// the program do that they are about.
const (
	DiskFull    = "disk-full"
	ServerAway  = "server-away"
	ServerAside = "server-aside"
)

// stationKinds are the kinds without a rule, most urgent first.
var stationKinds = []Info{
	{DiskFull, "the disk is full and nothing is recorded", "station"},
	{ServerAway, "the time-series server takes no data", "station"},
	{ServerAside, "the time-series server refused some data for good", "station"},
}

// Kinds lists all kinds of alarm: those of the rockets, most urgent first, then
// those of the station.
func Kinds() []Info {
	out := make([]Info, len(kinds), len(kinds)+len(stationKinds))
	for i, k := range kinds {
		out[i] = k.Info
	}
	return append(out, stationKinds...)
}

// InFlight says whether a kind of alarm is about a flight.
func InFlight(kind string) bool {
	i := kindIndex(kind)
	return i >= 0 && kinds[i].Where == "flight"
}

// Page is the documentation of one kind of alarm, in Markdown with quantities
// in braces, as {50 m}; ok is false when there is no such kind.
func Page(kind string) (text string, ok bool) {
	b, err := pages.ReadFile("pages/" + kind + ".md")
	return string(b), err == nil && !strings.Contains(kind, "/")
}

// ruleKinds lists the names of the kinds that have a rule, in the order of kinds.
func ruleKinds() []string {
	names := make([]string, len(kinds))
	for i, k := range kinds {
		names[i] = k.Kind
	}
	return names
}

// kindNames lists them in alphabetical order, for messages.
func kindNames() []string {
	names := ruleKinds()
	sort.Strings(names)
	return names
}
