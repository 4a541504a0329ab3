package tune

import (
	"cmp"
	"errors"
	"math"
	"slices"
)

// Narrow chooses from a grid of settings; empty lists leave all that the grid
// has.
type Narrow struct {
	Family  Family
	DropCm  []int32
	Shift   []uint8
	Samples []uint8
}

// Grid is the settings of a family, with what common has for all rules. The
// values are steps that a person would try (common practice, no source).
func Grid(common Settings, n Narrow) []Settings {
	drops, shifts, samples := []int32{0}, []uint8{1, 2, 3, 4}, []uint8{1, 2, 3, 5}
	if n.Family == Drop {
		drops, shifts, samples = []int32{50, 100, 150, 200, 300, 500}, []uint8{0, 2, 3}, []uint8{1, 2, 3, 5, 8}
	}
	if len(n.DropCm) > 0 {
		drops = n.DropCm
	}
	if len(n.Shift) > 0 {
		shifts = n.Shift
	}
	if len(n.Samples) > 0 {
		samples = n.Samples
	}
	var out []Settings
	for _, d := range drops {
		for _, k := range shifts {
			for _, c := range samples {
				s := common
				s.Family, s.DropCm, s.Shift, s.Samples = n.Family, d, k, c
				out = append(out, s)
			}
		}
	}
	return out
}

// ArmFor is an arming height in cm for flights whose lowest apogee is given, in
// m, and whose noise has the given rms, in m: a quarter of the apogee, at least
// 2 m and six times the noise, at most half of the apogee and 20 m (common
// practice, no source).
func ArmFor(lowestM, noiseM float64) int32 {
	return int32(math.Round(min(max(lowestM/4, 2, 6*noiseM), lowestM/2, 20))) * 100
}

// errNeverArmed is returned when lock-out and backup cannot be set.
var errNeverArmed = errors.New("set lock-out and backup: no flight rose above the arming height before apogee; give a lower one")

// Times are lock-out and backup with what they follow from, in s after arming.
type Times struct {
	// ShortestS and LongestS are the shortest and the longest time from arming
	// to apogee, GroundS the shortest to the ground.
	ShortestS float64 `json:"shortest_to_apogee_s"`
	LongestS  float64 `json:"longest_to_apogee_s"`
	GroundS   float64 `json:"shortest_to_ground_s"`
	LockoutS  float64 `json:"lockout_s"`
	BackupS   float64 `json:"backup_s"`
	// TooLate is the part of the flights that meet the ground, without a
	// parachute, before the backup comes.
	TooLate float64 `json:"backup_too_late"`
}

// Times sets the lock-out to half of the shortest way from arming to apogee,
// at most 5 s, and the backup to 1.05 times the longest and 0.5 s more, so that
// it never cuts a climb short (common practice, no source). Both are rounded
// to 0.1 s.
func (sc *Scout) Times() (Times, error) {
	t := Times{ShortestS: math.Inf(1), GroundS: math.Inf(1)}
	for i, a := range sc.ToApogee {
		if !math.IsNaN(a) {
			t.ShortestS, t.LongestS = min(t.ShortestS, a), max(t.LongestS, a)
			t.GroundS = min(t.GroundS, sc.ToGround[i])
		}
	}
	if t.LongestS == 0 {
		return t, errNeverArmed
	}
	t.LockoutS = math.Floor(min(t.ShortestS/2, 5)*10) / 10
	t.BackupS = math.Ceil((1.05*t.LongestS+0.5)*10) / 10
	sc.late(&t)
	return t, nil
}

// late sets which part of the flights the backup comes too late for.
func (sc *Scout) late(t *Times) {
	n := 0
	for _, g := range sc.ToGround {
		if !(g > t.BackupS) {
			n++
		}
	}
	t.TooLate = float64(n) / float64(len(sc.ToGround))
}

// With replaces lock-out and backup by given ones, in s; nil leaves them.
func (sc *Scout) With(t Times, lockoutS, backupS *float64) Times {
	if lockoutS != nil {
		t.LockoutS = *lockoutS
	}
	if backupS != nil {
		t.BackupS = *backupS
	}
	sc.late(&t)
	return t
}

// Apply puts the times into settings, in ms.
func (t Times) Apply(s *Settings) {
	s.LockoutMs = uint32(math.Round(t.LockoutS * 1000))
	s.BackupMs = uint32(math.Round(t.BackupS * 1000))
}

// Choice is a recommended setting.
type Choice struct {
	Index int `json:"-"` // into the statistics
	// Sure is true if with 95 % confidence it fails no more often than the
	// limit; else it is the one that failed least.
	Sure bool `json:"sure"`
}

// slackS is by how much later a rule may be than the fastest if that makes it
// safer, in s: a servo takes longer to turn (common practice, no source).
const slackS = 0.1

// Choose picks from the rules that are sure to fail in no more than the part
// limit of the flights. Of those that are at most 0.1 s later than the fastest,
// by the lag that 95 of 100 releases keep, it takes the one that failed least,
// and of those the fastest. If none is sure, it takes the one that failed least.
func Choose(all []Stats, limit float64) Choice {
	within := math.Inf(1)
	for i := range all {
		if all[i].sure(limit) {
			within = min(within, all[i].LateS()+slackS)
		}
	}
	sure := !math.IsInf(within, 1)
	best := -1
	for i := range all {
		if sure && !(all[i].sure(limit) && all[i].LateS() <= within) {
			continue
		}
		if best < 0 || cmp.Or(
			cmp.Compare(all[i].Failed.Count, all[best].Failed.Count),
			cmp.Compare(all[i].LateS(), all[best].LateS())) < 0 {
			best = i
		}
	}
	return Choice{Index: best, Sure: sure}
}

// sure says whether the rule releases, and with 95 % confidence fails in no
// more than the part limit of the flights.
func (s *Stats) sure(limit float64) bool { return s.LagS != nil && s.Failed.High <= limit }

// LateS is the lag in s that 95 of 100 releases keep, +Inf if there was none.
func (s *Stats) LateS() float64 {
	if s.LagS == nil {
		return math.Inf(1)
	}
	return s.LagS.P95
}

// Front are the indexes of the statistics that none other beats in both how
// often it fails and how late it is, from the fastest to the safest.
func Front(all []Stats) []int {
	var out []int
	for i := range all {
		if all[i].LagS == nil {
			continue
		}
		beaten := false
		for k := range all {
			f, l := all[k].Failed.Count-all[i].Failed.Count, all[k].LateS()-all[i].LateS()
			beaten = beaten || f <= 0 && l <= 0 && (f < 0 || l < 0 || k < i)
		}
		if !beaten {
			out = append(out, i)
		}
	}
	slices.SortStableFunc(out, func(a, b int) int { return cmp.Compare(all[a].LateS(), all[b].LateS()) })
	return out
}
