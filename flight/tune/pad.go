package tune

import (
	"padlark/decode"
	"padlark/flight/ensemble"
)

// padHour lets a board stand on the pad for an hour, hour i of a spec and a
// seed, and says whether it was armed by wind or noise alone. A board that is
// armed on the pad releases there, by its backup time at the latest.
func padHour(s Settings, spec ensemble.Spec, seed uint64, i int) bool {
	w := ensemble.WaitingPad(spec, seed, uint64(i), 1)
	s.LockoutMs, s.BackupMs = maxLockoutMs, 0
	o := newBoard(s)
	for sample := range w.Samples() {
		p, ok := sample.Values.Get(decode.PressurePa)
		if !ok {
			continue
		}
		o.Step(uint32(sample.Clock/1000), dPa(p))
		if o.armed {
			return true
		}
	}
	return false
}
