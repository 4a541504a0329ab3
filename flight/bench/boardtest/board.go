package boardtest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
)

// Options choose a board.
type Options struct {
	Seed   uint64
	Defect string // of Defects; empty for a good board
	Layout string // lark-bin if empty
	// When things are done to it, in s after it was switched on; NaN or 0 for
	// never. The lift takes 1 s up and 1 s down and lasts HoldS.
	LiftAtS, LiftM, HoldS float64
	JarAtS, JarM          float64
	// PullS and BackS are how long the pressure goes down and comes back.
	PullS, BackS float64
	EndS         float64 // when it is switched off
	ElevationM   float64
}

// Full is a board that is left alone for restS and then goes through lift and
// jar at the pace at which a checkup asks for it.
func Full(seed uint64, defect string, restS float64) Options {
	return Options{
		Seed: seed, Defect: defect, LiftAtS: restS + 3.5, LiftM: 2, HoldS: 6.5,
		JarAtS: restS + 19, JarM: 250, PullS: 3, BackS: 5, EndS: restS + 45, ElevationM: 212,
	}
}

// Rocket is the rocket that the board belongs to, as its builder describes it.
func Rocket() flight.Rocket {
	id := uint32(7)
	return flight.Rocket{
		Name: "Teal", ID: &id, Cell: "lipo-1s", Release: "servo", RateHz: 50,
		ReleaseRestUs: 1000, ReleaseOpenUs: 1900, ReleaseMinUs: 800, ReleaseMaxUs: 2200,
	}
}

// Sent is one frame on its way. Lost frames have no bytes.
type Sent struct {
	At    time.Duration // after the board was switched on
	Bytes []byte
}

// Board is a simulated board. It is for one goroutine.
type Board struct {
	o       Options
	rng     *rand.Rand
	program *decode.Program
	framing ingest.Framing

	padPa, rateHz, noisePa, driftPa, stepPa, skew, cell, dipV float64

	i        int     // frames so far
	t        float64 // s since it was switched on
	boot     uint32
	bootAt   float64
	seq      int64
	rule     rule
	held     float64 // the reading before
	heldFor  int
	firedAt  float64 // NaN
	quietTil float64
	tilBurst int
}

// New checks the options.
func New(o Options) (*Board, error) {
	if o.Layout == "" {
		o.Layout = "lark-bin"
	}
	if o.Defect != "" && !slices.ContainsFunc(Defects(), func(d Defect) bool { return d.Name == o.Defect }) {
		return nil, fmt.Errorf("make board: there is no defect %q", o.Defect)
	}
	layouts, err := decode.Builtin()
	if err != nil {
		return nil, fmt.Errorf("make board: %w", err)
	}
	i := slices.IndexFunc(layouts, func(l decode.Layout) bool { return l.Name == o.Layout })
	if i < 0 {
		return nil, fmt.Errorf("make board: there is no layout %q", o.Layout)
	}
	p, err := decode.Compile(layouts[i], layouts)
	if err != nil {
		return nil, fmt.Errorf("make board: %w", err)
	}
	b := &Board{o: o, rng: rand.New(rand.NewPCG(o.Seed, 0x62656e6368)), program: p, framing: layouts[i].Framing,
		boot: 1, firedAt: math.NaN(), tilBurst: 40}
	b.draw()
	return b, nil
}

func (b *Board) between(lo, hi float64) float64 { return lo + (hi-lo)*b.rng.Float64() }

// draw chooses what differs from one good board to the next.
func (b *Board) draw() {
	h := b.o.ElevationM
	b.padPa = 101325*math.Pow(1-2.25577e-5*h, 5.25588) + b.between(-2000, 2000)
	b.rateHz = 50
	b.noisePa, b.driftPa = b.between(0.8, 3.5), b.between(-3, 3)
	b.stepPa = []float64{0.1, 0.16, 0.66, 1}[b.rng.IntN(4)]
	b.skew = b.between(-100e-6, 100e-6)
	b.cell, b.dipV = b.between(3.7, 4.18), b.between(0.05, 0.28)
	b.rule = rule{arm: 15, drop: b.between(1.5, 3), need: 1 + b.rng.IntN(4)}
	switch b.o.Defect {
	case "slow-rate":
		b.rateHz = 20
	case "resonator":
		b.skew = 0.045
	case "noisy-sensor":
		b.noisePa = 25
	case "drifting":
		b.driftPa = -90 // Pa a minute
	case "coarse":
		b.stepPa, b.noisePa = 20, 6
	case "flat-cell":
		b.cell = 3.4
	case "wrong-supply":
		b.cell = 8.9
	case "weak-cell":
		b.dipV = 0.8
	case "never-fires":
		b.rule.arm = 1e5
	case "fires-early":
		b.rule.at = 60
	case "fires-late":
		b.rule.drop, b.rule.need = 20, 90
	}
}

// height is where the board really is, in m above the bench.
func (b *Board) height(t float64) float64 {
	o := &b.o
	h := 0.0
	if o.LiftAtS > 0 && t > o.LiftAtS {
		h = o.LiftM * min(1, t-o.LiftAtS) * min(1, max(0, 1-(t-o.LiftAtS-1-o.HoldS)))
	}
	if o.JarAtS > 0 && t > o.JarAtS {
		x := t - o.JarAtS
		const hold = 0.3
		h += o.JarM * max(0, min(x/o.PullS, 1, 1-(x-o.PullS-hold)/o.BackS))
	}
	return h
}

// pressure is what its barometer reads.
func (b *Board) pressure(t float64) float64 {
	h := b.height(t)
	switch b.o.Defect {
	case "wrong-scale":
		h *= 0.6
	case "upside":
		if h < 5 {
			h = -h
		}
	}
	p := b.padPa*math.Pow(1-2.25577e-5*h, 5.25588) + b.driftPa*t/60 + b.noisePa*b.rng.NormFloat64()
	switch b.o.Defect {
	case "stuck":
		return math.Round(b.padPa)
	case "wrong-pressure":
		p *= 0.8
	case "light":
		if b.i%60 == 20 {
			p -= b.between(200, 900)
		}
	case "slow-sensor":
		if b.heldFor++; b.heldFor%5 != 1 {
			return b.held
		}
	}
	b.held = math.Round(p/b.stepPa) * b.stepPa
	return b.held
}

// rule is the apogee rule that the board runs: a drop of so many metres below
// the highest, for so many readings.
type rule struct {
	arm, drop float64
	need      int
	at        float64 // fires at this height instead, if not 0

	zero, mean, top float64
	count           int
	armed, fired    bool
}

func (r *rule) reading(pa float64) {
	if r.zero == 0 {
		r.zero = pa
	}
	h := 44330.77 * (1 - math.Pow(pa/r.zero, 0.190263))
	r.mean += (h - r.mean) * 0.3
	r.armed = r.armed || r.mean > r.arm
	r.top = max(r.top, r.mean)
	if r.at > 0 && r.mean > r.at {
		r.fired = true
	}
	if !r.armed {
		return
	}
	if r.mean < r.top-r.drop {
		r.count++
	} else {
		r.count = 0
	}
	r.fired = r.fired || r.count >= r.need
}

// Next gives the next frame; ok is false once the board is switched off.
func (b *Board) Next() (s Sent, ok bool, err error) {
	b.i++
	b.t += b.interval()
	if b.t > b.o.EndS {
		return s, false, nil
	}
	s.At = time.Duration(b.t * 1e9)
	v := b.values()
	b.restart()
	b.seq++
	if b.o.Defect == "silent" || b.t < b.quietTil || b.o.Defect == "lossy" && b.rng.Float64() < 0.12 {
		return s, true, nil
	}
	clock := (b.t - b.bootAt) * (1 + b.skew) * 1e6
	if b.o.Defect == "clock-stands" {
		clock = 5e6
	}
	id := uint32(7)
	if b.o.Defect == "wrong-id" {
		id = 9
	}
	m := decode.Message{Rocket: id, Boot: b.boot, Seq: b.seq, Clock: int64(clock), Values: v}
	msg, err := b.program.Encode(nil, m)
	if err == nil {
		s.Bytes, err = b.framing.Encode(nil, msg)
	}
	if err != nil {
		return s, false, fmt.Errorf("encode frame %d: %w", b.i, err)
	}
	b.spoil(s.Bytes)
	return s, true, nil
}

// interval is the time to the next frame.
func (b *Board) interval() float64 {
	dt := (1 + 0.02*b.rng.NormFloat64()) / b.rateHz
	if b.o.Defect == "stalls" && b.i%45 == 0 {
		dt += 0.6
	}
	return dt
}

// spoil damages bytes on their way.
func (b *Board) spoil(p []byte) {
	switch b.o.Defect {
	case "wrong-baud":
		for i := range p {
			p[i] = byte(b.rng.Uint32()) | 1
		}
	case "noisy-line":
		if b.rng.Float64() < 0.09 {
			p[1+b.rng.IntN(len(p)-2)] ^= 0x24
		}
	}
}

// restart is what the board does when its supply fails.
func (b *Board) restart() {
	down := b.o.Defect == "restarts" && b.i%70 == 0 ||
		b.o.Defect == "browns-out" && b.boot == 1 && b.t > b.firedAt+0.05
	if !down {
		return
	}
	b.boot++
	b.bootAt, b.seq = b.t, 0
	b.quietTil = b.t + 0.3
	b.rule = rule{arm: b.rule.arm, drop: b.rule.drop, need: b.rule.need}
}

// values are the channels of the next frame.
func (b *Board) values() map[string]float64 {
	pa := b.pressure(b.t)
	b.rule.reading(pa)
	if b.o.Defect == "released" {
		b.rule.fired = true
	}
	if b.rule.fired && math.IsNaN(b.firedAt) {
		b.firedAt = b.t
	}
	v := map[string]float64{
		decode.PressurePa: pa, decode.TemperatureC: 21.4 + 0.02*b.rng.NormFloat64(),
		decode.CellV: b.volts(), decode.ReleaseUs: b.pulse(), decode.ReleaseOn: 0, decode.Armed: 0,
	}
	if b.rule.fired {
		v[decode.ReleaseOn] = 1
	}
	if b.rule.armed {
		v[decode.Armed] = 1
	}
	if b.o.Defect == "hot" {
		v[decode.TemperatureC] = 71
	}
	return v
}

// volts is the supply.
func (b *Board) volts() float64 {
	v := b.cell + 0.004*b.rng.NormFloat64()
	if math.IsNaN(b.firedAt) || b.o.Defect == "released" {
		return v
	}
	x := b.t - b.firedAt
	if b.o.Defect == "no-recovery" {
		return v - b.dipV - 0.08
	}
	return v - b.dipV*math.Exp(-x/0.35)
}

// pulse is what the servo gets.
func (b *Board) pulse() float64 {
	rest, open := 1000.0, 1900.0
	switch b.o.Defect {
	case "short-throw":
		open = 1300
	case "over-throw":
		open = 2400
	case "trembling":
		rest += 15 * b.rng.NormFloat64()
	}
	if !b.rule.fired {
		return rest
	}
	if b.o.Defect == "chatter" && int((b.t-b.firedAt)/0.4)%2 == 1 {
		return rest
	}
	return open
}
