package guess

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"padlark/decode"
)

// candidate is one thing that a column may be.
type candidate struct {
	column int
	role   string // a field's or channel's name
	unit   string
	score  float64
	why    string
	ask    string
	scale  float64 // of a servo in degrees
	offset float64
}

// columnsOf says what the columns of a table may be; titles may be nil.
func columnsOf(cells [][]string, titles []string, seconds float64) []Column {
	all := make([]*series, len(cells))
	heads := make([]string, len(cells))
	for i := range cells {
		all[i] = textSeries(cells[i])
		if titles != nil {
			heads[i] = strings.Trim(strings.TrimSpace(titles[i]), `"`)
		}
	}
	chosen := assign(all, heads, seconds)
	out := make([]Column, len(cells))
	used := map[string]bool{}
	for i := range cells {
		out[i] = column(chosen[i], all[i], heads[i], i, used)
	}
	return out
}

// assign gives each column the role that fits best; each role is given once.
func assign(all []*series, heads []string, seconds float64) []*candidate {
	var found []candidate
	for i, s := range all {
		found = append(found, possible(i, s, heads[i], seconds)...)
	}
	found = append(found, together(all, heads, found)...)
	slices.SortStableFunc(found, func(a, b candidate) int {
		switch {
		case a.score > b.score:
			return -1
		case a.score < b.score:
			return 1
		}
		return 0
	})
	chosen := make([]*candidate, len(all))
	taken := map[string]*candidate{}
	for k := range found {
		c := &found[k]
		if first := taken[decode.PressurePa]; c.role == decode.PressurePa && first != nil && heads[c.column] != "" && besides(all, first, c) {
			c.role = decode.Pressure2Pa
		}
		if chosen[c.column] == nil && taken[c.role] == nil && c.score >= 0.35 {
			chosen[c.column] = c
			taken[c.role] = c
		}
	}
	return chosen
}

// possible lists what one column may be by its title and its numbers.
func possible(i int, s *series, head string, seconds float64) []candidate {
	if s.n == 0 || s.words > 0 {
		return nil
	}
	byValue := valueCandidates(s, seconds)
	if head == "" || s.timeUnit != "" {
		for k := range byValue {
			byValue[k].column = i
		}
		return byValue
	}
	n := readTitle(head)
	if n.role == "" {
		// A title that says something else is a reason against the numbers, but for
		// what counts the time or the frames.
		var out []candidate
		for _, c := range byValue {
			if c.score *= 0.4; c.score >= 0.35 {
				c.column = i
				out = append(out, c)
			}
		}
		return out
	}
	c := titled(s, n, seconds)
	c.column = i
	c.why = fmt.Sprintf("its title is %q", head) + c.why
	return []candidate{c}
}

// titled is what a column is whose title says it; the unit is by the title, or by
// the numbers.
func titled(s *series, n named, seconds float64) candidate {
	c := candidate{role: n.role, unit: n.unit, score: 0.95}
	guessed := func(unit string, ok bool, what string) {
		if n.unit != "" {
			return
		}
		if c.unit = unit; ok {
			c.score, c.why = 0.87, "; the unit is by its numbers"
			return
		}
		c.score, c.ask = 0.5, "in which unit is "+what+"?"
	}
	switch n.role {
	case decode.FieldClock:
		if s.rises < 0.5 && s.n > few {
			return candidate{role: n.role, unit: orElse(n.unit, "s"), score: 0.2}
		}
		unit, score, why := clockUnit(s, seconds)
		guessed(unit, score >= 0.8, "the clock")
		if n.unit == "" && score < 0.8 {
			c.why = "; " + why
		}
	case decode.PressurePa:
		unit, ok := pressureUnit(s)
		guessed(unit, ok, "the pressure")
	case decode.TemperatureC:
		unit, ok := temperatureUnit(s)
		guessed(unit, ok, "the temperature")
	case decode.AltitudeM, decode.GPSAltitudeM:
		guessed("m", false, "the height")
		c.score = max(c.score, 0.7)
		if n.unit == "" {
			c.ask = "is the height in m? (unit = \"ft\", \"cm\" ... if not)"
		}
	case decode.VelocityMps:
		guessed("m/s", true, "")
	case decode.CellV:
		unit, ok := voltUnit(s)
		guessed(unit, ok, "the cell's voltage")
		if ok && !n.cell {
			c.score, c.ask = 0.5, "is this the cell that moves the servo?"
		}
		if n.unit == "" && !ok {
			c.role, c.unit, c.score = "cell_counts", "", 0.5
			c.ask = "these look like counts of a converter: rename the field to cell_v and give scale = reference voltage / counts at it x divider, such as 3.3 / 4095 x 2 = 0.00161"
		}
	case roleServo:
		return servo(s, n.unit, 0.95)
	case roleAccel:
		c.role = decode.AccelMps2
		if n.axis != "" {
			c.role = "accel_" + n.axis + "_mps2"
		}
		if n.unit == "" {
			c.unit, c.score, c.ask = "m/s2", 0.5, "in which unit is the acceleration, m/s2 or g?"
		}
		if n.axis == "" {
			c.score = min(c.score, 0.7)
			c.ask = strings.TrimSpace(c.ask + " It must be along the rocket, 9.81 m/s2 at rest; if it is the size of all three axes, write ignore = true.")
		}
	case decode.LatitudeDeg, decode.LongitudeDeg:
		unit := "deg"
		if s.whole && max(math.Abs(s.lo), math.Abs(s.hi)) > 1e5 {
			unit = "deg1e7"
		}
		guessed(unit, true, "")
	case decode.FieldSeq, decode.FieldBoot, decode.FieldRocket, decode.GPSFix, decode.Armed:
		c.unit = ""
		if n.role != decode.GPSFix && !s.whole || s.lo < 0 {
			c.score = 0.2
		}
	case decode.RSSIDbm:
		guessed("dBm", s.within(-150, 20), "the signal")
	case decode.SNRDb:
		guessed("dB", true, "")
	}
	return c
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// valueCandidates is what a column without a title may be.
func valueCandidates(s *series, seconds float64) (out []candidate) {
	add := func(role, unit string, score float64, why string) {
		out = append(out, candidate{role: role, unit: unit, score: score, why: why})
	}
	if s.timeUnit != "" {
		if s.falls < 0.05 && !s.same {
			add(decode.FieldClock, s.timeUnit, 0.9, "it is a time, written out")
			if s.rises < 0.9 { // to the second, of a board that sends more often
				out[0].score = 0.5
			}
			out[0].ask = s.ask
		}
		return out
	}
	if s.rises >= 0.9 && s.lo >= 0 && s.n >= few {
		if s.whole && s.step == 1 && s.steady > 0.8 {
			add(decode.FieldSeq, "", 0.8, "it counts by one")
		} else {
			unit, score, why := clockUnit(s, seconds)
			add(decode.FieldClock, unit, score, why)
		}
		return out
	}
	if s.whole && s.rises >= 0.9 && s.step == 1 {
		add(decode.FieldSeq, "", 0.75, "it counts by one and starts again")
	}
	if unit, ok := pressureUnit(s); ok {
		score := 0.86
		switch {
		case s.same:
			score = 0.4
		case unit == "psi" || unit == "inHg" || unit == "kPa" && s.decimals < 2:
			score = 0.36
		case unit == "hPa" && s.decimals == 0:
			score = 0.55
		}
		add(decode.PressurePa, unit, score, fmt.Sprintf("%s is an air pressure in %s", spread(s), unit))
	}
	if s.within(-130, -15) && s.whole {
		add(decode.RSSIDbm, "dBm", 0.5, fmt.Sprintf("%s may be a signal strength", spread(s)))
	}
	if unit, ok := voltUnit(s); ok && (s.decimals >= 2 || unit == "mV") && s.hi-s.lo < 0.35*s.mid && s.distinct > 1 {
		add(decode.CellV, unit, 0.62, fmt.Sprintf("%s may be a cell's voltage in %s", spread(s), unit))
	}
	if unit, ok := temperatureUnit(s); ok && (unit != "degC" || s.decimals > 0) && s.hi-s.lo < 0.4*math.Abs(s.mid)+2 && s.distinct > 1 {
		score := 0.6
		if unit != "degC" {
			score = 0.45
		}
		add(decode.TemperatureC, unit, score, fmt.Sprintf("%s may be a temperature in %s", spread(s), unit))
	}
	if s.distinct > 1 && s.distinct <= 6 && s.whole && !s.changesOften {
		if c := servo(s, "", 0.7); c.score > 0.35 {
			c.score *= 0.85
			out = append(out, c)
		}
	}
	if s.decimals >= 1 && s.changesOften && math.Abs(s.atStart) < 5 && s.hi > 5 && s.hi < 3000 && s.hi > 4*math.Abs(s.lo) {
		add(decode.AltitudeM, "m", 0.5, "it begins near 0 and rises: it may be a height")
	}
	return out
}

func spread(s *series) string { return fmt.Sprintf("%.6g to %.6g", s.lo, s.hi) }

// clockUnit says in which unit a rising column counts the time. The frames' usual
// distance, 1 ms to 2 s, is common practice.
func clockUnit(s *series, seconds float64) (unit string, score float64, why string) {
	if seconds > 1 && s.hi > s.lo {
		ratio := (s.hi - s.lo) / seconds
		for _, u := range []struct {
			unit string
			per  float64
		}{{"s", 1}, {"ms", 1e3}, {"us", 1e6}} {
			if ratio > 0.8*u.per && ratio < 1.25*u.per {
				return u.unit, 0.97, fmt.Sprintf("it rises by %.4g in the %.0f s of listening", s.hi-s.lo, seconds)
			}
		}
	}
	switch d := s.step; {
	case !s.whole && d > 0 && d <= 2:
		return "s", 0.88, fmt.Sprintf("it rises by %.3g at a time", d)
	case !s.whole && d > 2 && d <= 2000:
		return "ms", 0.75, fmt.Sprintf("it rises by %.4g at a time", d)
	case s.whole && d >= 2 && d < 2000:
		return "ms", 0.88, fmt.Sprintf("it rises by %.0f at a time", d)
	case s.whole && d >= 2000 && d <= 2e6:
		return "us", 0.8, fmt.Sprintf("it rises by %.0f at a time", d)
	case s.whole && d > 2e6 && d <= 2e9:
		return "ns", 0.7, fmt.Sprintf("it rises by %.0f at a time", d)
	}
	return "ms", 0.4, fmt.Sprintf("it rises by %.3g at a time, which fits no unit well", s.step)
}

// pressureUnit is the unit in which all numbers are pressures of the air where
// people fly: 300 to 1085 hPa, the range of common barometers, and most of them
// near the ground.
func pressureUnit(s *series) (string, bool) {
	for _, u := range []struct {
		unit  string
		perPa float64
	}{{"hPa", 0.01}, {"Pa", 1}, {"kPa", 0.001}, {"dPa", 10}, {"cPa", 100}, {"inHg", 1 / 3386.389}, {"psi", 1 / 6894.757}} {
		if s.within(30000*u.perPa, 108500*u.perPa) && s.atStart > 65000*u.perPa {
			return u.unit, true
		}
	}
	return "", false
}

func temperatureUnit(s *series) (string, bool) {
	switch {
	case s.within(-40, 85):
		return "degC", true
	case s.within(-400, 850) && s.whole && s.mid > 85:
		return "ddegC", true
	case s.within(233, 358):
		return "K", true
	case s.within(-4000, 8500) && s.whole:
		return "cdegC", true
	}
	return "degC", false
}

// voltUnit: hobby cells from one lithium cell run low to a 9 V block, and packs of
// up to four; common practice, no source.
func voltUnit(s *series) (string, bool) {
	switch {
	case s.within(2.5, 17) && !s.whole:
		return "V", true
	case s.within(2500, 17000) && s.whole:
		return "mV", true
	}
	return "", false
}

// servo says how a column tells of the release: pulses of 800 to 2500 us, a flag,
// or degrees, which are turned into pulses by the usual 1000 us at 0 and 2000 us
// at 180 degrees. Common practice, no source.
func servo(s *series, unit string, score float64) candidate {
	c := candidate{score: score}
	switch {
	case s.within(0, 1) && unit != "deg":
		c.role, c.why = decode.ReleaseOn, ": 0 or 1"
		if s.distinct < 2 {
			c.score = min(score, 0.7)
			c.why += ", as far as heard"
		}
	case s.within(500, 2600) && unit != "deg":
		c.role, c.unit, c.why = decode.ReleaseUs, "us", fmt.Sprintf(": %s are pulses of a servo", spread(s))
	case s.within(-5, 360):
		c.role, c.scale, c.offset = decode.ReleaseUs, 5.556, 1000
		c.score = min(score, 0.65)
		c.why = fmt.Sprintf(": %s may be degrees of a servo", spread(s))
		c.ask = "measure the pulse at two positions if it is not 1000 us at 0 and 2000 us at 180 degrees"
	default:
		c.role, c.score = "servo_raw", 0.36
		c.ask = "what does this say of the servo? Pulses in us, degrees, and 0 or 1 are understood"
	}
	return c
}

// together finds what only several columns tell: a height that follows the
// pressure, and three axes that measure gravity at rest.
func together(all []*series, heads []string, found []candidate) (out []candidate) {
	for _, p := range found {
		if p.role != decode.PressurePa || p.score < 0.5 {
			continue
		}
		for i, s := range all {
			if i == p.column || s.n < few || s.words > 0 || s.distinct < 4 || heads[i] != "" && readTitle(heads[i]).role != decode.AltitudeM {
				continue
			}
			if c, ok := followsPressure(all[p.column], p.unit, s); ok {
				c.column = i
				out = append(out, c)
			}
		}
	}
	for i := 0; i+2 < len(all); i++ {
		axes := all[i : i+3]
		switch n := readTitle(heads[i]); {
		case n.role == roleAccel && n.axis == "x" && n.unit == "" && readTitle(heads[i+2]).axis == "z":
			if unit, ok := gravity(axes, 0.6, 1.6); ok {
				out = append(out, axesOf(i, unit, 0.7, fmt.Sprintf("its title is %q; mostly the three measure 1 g", heads[i]))...)
			}
		case heads[i] == "":
			if unit, ok := gravity(axes, 0.94, 1.06); ok {
				out = append(out, axesOf(i, unit, 0.66, "three columns together measure 1 g most of the time")...)
			}
		}
	}
	return out
}

func axesOf(i int, unit string, score float64, why string) (out []candidate) {
	for k, axis := range []string{"x", "y", "z"} {
		out = append(out, candidate{column: i + k, role: "accel_" + axis + "_mps2", unit: unit, score: score, why: why})
	}
	return out
}

// gravity says whether the middle size of three axes is 1 g, which it is at rest and
// under a parachute, give or take two factors, and in which unit.
func gravity(axes []*series, least, most float64) (unit string, ok bool) {
	moving, largest := 0, 0.0
	sizes := make([]float64, 0, len(axes[0].v))
	for _, s := range axes {
		if s.n < few || s.words > 0 || s.rises > 0.9 {
			return "", false
		}
		if s.distinct > 3 {
			moving++
		}
		largest = max(largest, math.Abs(s.mid))
	}
	for i := range axes[0].v {
		if v := math.Hypot(math.Hypot(axes[0].v[i], axes[1].v[i]), axes[2].v[i]); !math.IsNaN(v) {
			sizes = append(sizes, v)
		}
	}
	if moving < 2 || len(sizes) == 0 || largest > 20 { // in m/s2 or g; mg need a title
		return "", false
	}
	for _, u := range []struct {
		unit string
		g    float64
	}{{"m/s2", decode.StandardGravity}, {"g", 1}} {
		if v := middle(sizes); v > least*u.g && v < most*u.g {
			return u.unit, true
		}
	}
	return "", false
}

// column writes a candidate as a field; one that nobody knows is kept under a name
// of its own, or passed over where it holds words.
func column(c *candidate, s *series, head string, i int, used map[string]bool) Column {
	out := Column{Title: head, Why: "nothing in its numbers says what it is"}
	switch {
	case c != nil:
		out.Field = decode.Field{Name: c.role, Unit: c.unit, Scale: c.scale, Offset: c.offset}
		out.Sure, out.Why, out.Ask = sureOf(c.score), strings.TrimPrefix(c.why, ": "), c.ask
		if c.role == "cell_counts" || c.role == "servo_raw" {
			out.Sure = unknown
		}
		used[c.role] = true
		return out
	case s.words > 0 || s.n == 0 || s.timeUnit != "":
		out.Field = decode.Field{Name: free(fieldName(head), i, used), Ignore: true}
		out.Why = "it holds words, and is passed over"
		if s.words == 0 {
			out.Why = "it is empty in every line, and is passed over"
		}
		return out
	}
	out.Field = decode.Field{Name: free(fieldName(head), i, used)}
	switch {
	case head != "":
		out.Why = fmt.Sprintf("its title is %q, which padlark has no use for", head)
	case s.same:
		out.Why = fmt.Sprintf("it is always %g", s.mid)
		out.Ask = fmt.Sprintf("what is column %d, always %g? Name it (padlark check --keys field), or leave it", i+1, s.mid)
	default:
		out.Ask = fmt.Sprintf("what is column %d, %s? Name it (padlark check --keys field), or leave it", i+1, spread(s))
	}
	return out
}

// free is a name that no field has yet, and that ends in no unit.
func free(name string, i int, used map[string]bool) string {
	if name == "" || used[name] {
		name = fmt.Sprintf("column_%d", i+1)
	}
	if decode.HasUnit(name) || used[name] || slices.Contains([]string{decode.FieldClock, decode.FieldSeq, decode.FieldBoot, decode.FieldRocket}, name) || decode.Use(name) != "" {
		name += "_raw"
	}
	for used[name] {
		name += "_x"
	}
	used[name] = true
	return name
}
