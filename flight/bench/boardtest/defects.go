package boardtest

// Defect is one thing that is wrong with a board, and the check of a checkup
// that must name it.
type Defect struct {
	Name  string
	Check string
	// Also are checks that may rightly speak up as well.
	Also []string
	// Hands is true when it shows only in the lift or the jar.
	Hands bool
}

// Defects lists all that a board can have.
func Defects() []Defect {
	return []Defect{
		{Name: "silent", Check: "frames"},
		{Name: "wrong-id", Check: "wrong-id"},
		{Name: "wrong-baud", Check: "frames"},
		{Name: "slow-rate", Check: "rate"},
		{Name: "stalls", Check: "jitter", Also: []string{"rate"}},
		{Name: "lossy", Check: "frames-lost"},
		{Name: "noisy-line", Check: "frames-damaged", Also: []string{"frames-lost"}},
		{Name: "restarts", Check: "restarts", Also: []string{"apogee-rule", "cell-dip", "release-moves", "restarts-servo"}},
		{Name: "resonator", Check: "clock", Also: []string{"rate"}},
		{Name: "clock-stands", Check: "clock"},
		{Name: "wrong-pressure", Check: "pressure"},
		{Name: "hot", Check: "temperature"},
		{Name: "noisy-sensor", Check: "noise", Also: []string{"lift", "drift"}},
		{Name: "drifting", Check: "drift", Also: []string{"lift", "noise"}},
		{Name: "light", Check: "wild", Also: []string{"lift", "apogee-rule", "noise", "release-rest"}},
		{Name: "coarse", Check: "coarse", Also: []string{"lift", "noise"}},
		{Name: "stuck", Check: "stuck"},
		{Name: "slow-sensor", Check: "repeats"},
		{Name: "flat-cell", Check: "cell", Also: []string{"brown-out"}},
		{Name: "wrong-supply", Check: "cell"},
		{Name: "released", Check: "release-rest", Also: []string{"apogee-rule", "release-moves", "cell-dip"}},
		{Name: "trembling", Check: "release-rest"},
		{Name: "wrong-scale", Check: "lift", Hands: true},
		{Name: "upside", Check: "lift", Hands: true, Also: []string{"apogee-rule"}},
		{Name: "never-fires", Check: "apogee-rule", Hands: true},
		{Name: "fires-early", Check: "apogee-rule", Hands: true},
		{Name: "fires-late", Check: "apogee-rule", Hands: true},
		{Name: "chatter", Check: "release-moves", Hands: true},
		{Name: "short-throw", Check: "release-open", Hands: true},
		{Name: "over-throw", Check: "release-open", Hands: true},
		{Name: "weak-cell", Check: "cell-dip", Hands: true, Also: []string{"brown-out"}},
		{Name: "browns-out", Check: "restarts-servo", Hands: true, Also: []string{"release-moves", "apogee-rule", "cell-dip", "brown-out"}},
		{Name: "no-recovery", Check: "cell-recovery", Hands: true},
	}
}
