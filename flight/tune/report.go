package tune

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"padlark/flight"
	"padlark/flight/phrase"
)

// Report is everything that a study found out; its JSON form is printed.
type Report struct {
	Ensemble     string        `json:"ensemble"`
	Says         string        `json:"ensemble_in_words"`
	Seed         uint64        `json:"seed"`
	Draws        int           `json:"draws"`
	RateHz       float64       `json:"rate_hz"`
	LimitPer1000 float64       `json:"limit_per_1000"`
	EarlyS       float64       `json:"early_s"`
	ArmM         float64       `json:"arm_m"`
	Times        Times         `json:"times"`
	Configured   string        `json:"from_the_configuration,omitempty"`
	Traits       *Traits       `json:"recorded_traits"`
	Recorded     []RecordedRow `json:"recorded"`
	Left         []string      `json:"recorded_left_out"`
	Stats        []Stats       `json:"settings"`
	// Best is the best of each family, the recommended one first.
	Best     []Best `json:"best"`
	PadArmed *Rate  `json:"armed_on_the_pad_in_hours"`
	// Explained, Firmware: of the recommended one.
	Explained []string `json:"explained"`
	Firmware  []Entry  `json:"firmware"`
	Cautions  []string `json:"cautions"`
	// The verdict: how good it is, and why. Verdict is both in English.
	Level   flight.Level  `json:"level"`
	Reason  phrase.Phrase `json:"reason"`
	Verdict string        `json:"verdict"`
}

// Best is the best of a family.
type Best struct {
	Choice
	Settings Settings `json:"settings"`
	// Fresh are the statistics of flights that had no part in the choice;
	// Agrees says whether they may be the same as those that had.
	Fresh  Stats `json:"fresh"`
	Agrees bool  `json:"agrees"`
}

// RecordedRow is what the recommended rule does on a recorded flight.
type RecordedRow struct {
	Flight  string  `json:"flight"`
	ApogeeM float64 `json:"apogee_m"`
	Filled  float64 `json:"filled"`
	// Released is null where the rule does not release before the ground.
	LagS     *float64 `json:"lag_s"`
	HeightM  *float64 `json:"height_m"`
	SpeedMps *float64 `json:"speed_mps"`
	Backup   bool     `json:"by_backup"`
	Early    bool     `json:"early"`
	// AfterOpen says that the board of that day had released before: the
	// parachute was out already, and the lag is not that of a falling rocket.
	AfterOpen bool `json:"after_the_release_flown"`
}

// Shown are the settings that a person wants to see, the quickest first, as indices of
// Stats: those that none other beats and the best of each family, or all.
func (r *Report) Shown(all bool) []int {
	show := Front(r.Stats)
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
		return cmp.Or(cmp.Compare(r.Stats[i].LateS(), r.Stats[k].LateS()), i-k)
	})
	return show
}

// choose finds the best of each family and puts the best of all first.
func (r *Report) choose(limit float64) {
	for _, f := range Families() {
		var index []int
		var some []Stats
		for i, s := range r.Stats {
			if s.Settings.Family == f {
				index, some = append(index, i), append(some, s)
			}
		}
		if len(some) == 0 {
			continue
		}
		c := Choose(some, limit)
		c.Index = index[c.Index]
		r.Best = append(r.Best, Best{Choice: c, Settings: r.Stats[c.Index].Settings})
	}
	all := Choose(r.Stats, limit)
	for i := range r.Best {
		if r.Best[i].Index == all.Index {
			b := r.Best[i]
			copy(r.Best[1:i+1], r.Best[:i])
			r.Best[0] = b
		}
	}
}

// judgeRecorded runs a rule over a recorded flight.
func judgeRecorded(f *Flight, s *Settings, earlyS float64) RecordedRow {
	o := Judge(s, f)
	row := RecordedRow{Flight: f.Name, ApogeeM: f.ApogeeM, Filled: f.Filled}
	if o.By == notYet {
		return row
	}
	lag, h, v := float64(o.LagS), float64(o.HeightM), float64(o.SpeedMps)
	row.LagS, row.HeightM, row.SpeedMps = &lag, &h, &v
	row.Backup, row.Early = o.By == byBackup, lag < -earlyS
	row.AfterOpen = f.ApogeeS+lag > f.ReleasedS
	return row
}

// conclude explains the recommended rule and gives the verdict.
func (r *Report) conclude() {
	b := &r.Best[0]
	r.Explained = explain(b.Fresh, r.RateHz)
	r.Firmware = b.Settings.Entries()
	r.Cautions = cautions()
	early, never := 0, 0
	for _, f := range r.Recorded {
		switch {
		case f.Early:
			early++
		case f.LagS == nil:
			never++
		}
	}
	limit := phrase.Word("limit", strconv.FormatFloat(r.LimitPer1000, 'g', -1, 64))
	switch {
	case !b.Sure:
		r.judge(flight.Bad, phrase.Of("tune.none-sure", limit))
	case early+never > 0:
		r.judge(flight.Bad, phrase.Of("tune.recorded", phrase.Qty("early", float64(early), 0, ""), phrase.Qty("never", float64(never), 0, ""), phrase.Qty("n", float64(len(r.Recorded)), 0, "")))
	case r.PadArmed != nil && r.PadArmed.Count > 0:
		r.judge(flight.Bad, phrase.Of("tune.pad-armed", phrase.Qty("count", float64(r.PadArmed.Count), 0, ""), phrase.Qty("all", float64(r.PadArmed.Of), 0, "")))
	case !b.Agrees:
		r.judge(flight.Look, phrase.Of("tune.disagree"))
	case b.Fresh.Failed.Share > r.LimitPer1000/1000:
		r.judge(flight.Look, phrase.Of("tune.fresh", limit))
	case math.Abs(r.Times.BackupS) > 0 && r.Times.TooLate > 0.5:
		r.judge(flight.Look, phrase.Of("tune.backup-late"))
	default:
		r.judge(flight.Good, phrase.Of("tune.well", limit))
	}
}

func (r *Report) judge(l flight.Level, reason phrase.Phrase) {
	r.Level, r.Reason = l, reason
	r.Verdict = phrase.Reader{}.Write(l.Say(reason), "")
}

// Header is the recommended rule as a C header.
func (r *Report) Header() string {
	b := &r.Best[0]
	about := []string{
		fmt.Sprintf("Tried on %d simulated flights (%s; seed %d): failed in %.2g of 1000, at most %.2g (95 %% sure).",
			b.Fresh.Failed.Of, r.Says, r.Seed, 1000*b.Fresh.Failed.Share, 1000*b.Fresh.Failed.High),
		"Verdict: " + r.Verdict,
	}
	return b.Settings.Header(r.RateHz, about...)
}
