package decode

import "strings"

// Use says what padlark does with a field or channel of this name, "" for one that
// is kept, exported and shown, but used for nothing.
func Use(name string) string {
	for _, u := range Uses() {
		if u.Name == name {
			return u.For
		}
	}
	return ""
}

// NameUse is a name that a field may have, and what it is used for.
type NameUse struct{ Name, For string }

// Uses lists every name that padlark understands; a layout may define others.
func Uses() []NameUse {
	return []NameUse{
		{FieldClock, "time"},
		{FieldSeq, "lost frames"},
		{FieldBoot, "restarts"},
		{FieldRocket, "whose frame it is"},
		{PressurePa, "height"},
		{Pressure2Pa, "height, with the first"},
		{AltitudeM, "height"},
		{TemperatureC, "the board's health"},
		{AccelMps2, "speed and liftoff"},
		{AccelXMps2, "speed and liftoff"},
		{AccelYMps2, "speed and liftoff"},
		{AccelZMps2, "speed and liftoff"},
		{CellV, "cell"},
		{ReleaseUs, "release"},
		{ReleaseOn, "release"},
		{Armed, "apogee rule"},
		{LatitudeDeg, "position"},
		{LongitudeDeg, "position"},
		{GPSAltitudeM, "position and height"},
		{GPSFix, "position"},
		{RSSIDbm, "signal"},
	}
}

// HasUnit says whether a channel's name ends in a unit, so that its field may have
// one.
func HasUnit(name string) bool {
	_, ok := channelUnit(name)
	return ok
}

// UnitOf is the unit that a channel's name says it is kept in, "" for none.
func UnitOf(name string) string {
	u, ok := channelUnit(strings.TrimSpace(name))
	if !ok {
		return ""
	}
	return u.name
}
