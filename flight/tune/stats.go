package tune

import (
	"math"
	"slices"
)

// Spread of a quantity over the flights in which there was a release.
type Spread struct {
	P5  float64 `json:"p5"`
	P50 float64 `json:"p50"`
	P95 float64 `json:"p95"`
}

// Stats sums up one rule over many flights.
type Stats struct {
	Settings Settings `json:"settings"`
	// Early counts releases well before apogee, on the pad among them; Never
	// flights that met the ground with nothing released; Failed both.
	Early  Rate `json:"early"`
	Never  Rate `json:"never"`
	Failed Rate `json:"failed"`
	// Backup counts releases that only the backup time brought.
	Backup Rate `json:"backup"`
	// The spreads are of all releases, nil if there was none: the time after
	// apogee, the height above the pad and that below the apogee, and the
	// vertical speed, up positive.
	LagS     *Spread `json:"lag_s"`
	HeightM  *Spread `json:"height_m"`
	BelowM   *Spread `json:"below_apogee_m"`
	SpeedMps *Spread `json:"speed_mps"`
}

// Fastest is the vertical speed in m/s, up or down, that 95 of 100 releases keep. There
// must be a release.
func (s *Stats) Fastest() float64 {
	return math.Max(math.Abs(s.SpeedMps.P5), math.Abs(s.SpeedMps.P95))
}

// sumUp makes the statistics of outcomes. A release more than earlyS before
// apogee is early.
func sumUp(s Settings, outcomes []Outcome, earlyS float64) Stats {
	var early, never, backup int
	var lag, height, below, speed []float64
	for _, o := range outcomes {
		if o.By == notYet {
			never++
			continue
		}
		if o.By == byBackup {
			backup++
		}
		if float64(o.LagS) < -earlyS {
			early++
		}
		lag = append(lag, float64(o.LagS))
		height = append(height, float64(o.HeightM))
		below = append(below, float64(o.BelowM))
		speed = append(speed, float64(o.SpeedMps))
	}
	n := len(outcomes)
	return Stats{
		Settings: s, Early: newRate(early, n), Never: newRate(never, n), Failed: newRate(early+never, n),
		Backup: newRate(backup, n),
		LagS:   spreadOf(lag), HeightM: spreadOf(height), BelowM: spreadOf(below), SpeedMps: spreadOf(speed),
	}
}

// spreadOf sorts v and reads the spread off it.
func spreadOf(v []float64) *Spread {
	if len(v) == 0 {
		return nil
	}
	slices.Sort(v)
	return &Spread{quantile(v, 0.05), quantile(v, 0.5), quantile(v, 0.95)}
}

// quantile of sorted values, by straight lines between the order statistics.
func quantile(v []float64, q float64) float64 {
	x := q * float64(len(v)-1)
	i := min(int(x), len(v)-1)
	if i == len(v)-1 {
		return v[i]
	}
	return v[i] + (x-math.Floor(x))*(v[i+1]-v[i])
}

// Stats sums up every one of the trial's settings, in their order.
func (t *Trial) Stats(earlyS float64) []Stats {
	out := make([]Stats, len(t.Settings))
	for k := range t.Settings {
		out[k] = sumUp(t.Settings[k], t.outcomes[k], earlyS)
	}
	return out
}
