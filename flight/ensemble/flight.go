package ensemble

import (
	"fmt"
	"math"
	"time"

	"padlark/decode"
	"padlark/flight"
)

// Flight is one drawn flight: what the station hears, and the truth.
type Flight struct {
	// Name is that of the spec, the case or the fault.
	Name        string
	Seed, Index uint64
	// Epoch is the session's start; the first sample is near it.
	Epoch  time.Time
	Rocket flight.Rocket
	Site   flight.Site
	Truth  Truth
	Setup  Setup
	// Samples are in the order of Passed. Their channels lie in memory that
	// the Flight owns: they are valid until DrawInto writes the Flight again.
	Samples []decode.Sample
	// EndS is when the recording ends, in s since the Epoch, samples or not:
	// ticks should run until then.
	EndS float64
	// Sent counts the frames that the board sent, heard or not.
	Sent int64
	// Broken are the moments at which the link heard a frame that failed its
	// checksum, in s since the Epoch.
	Broken []float64

	plan *plan
	path *truePath
	slab []float64
}

// Setup is what was drawn of the board, for bounds and for tables.
type Setup struct {
	RateHz, NoiseM, DriftM, JitterS, StepPa, Loss float64
	TiltDeg, SinkMps                              float64
	Solid, Accel                                  bool
	BiasPa                                        float64 // error of the absolute pressure
	PortCp, PortLagS                              float64 // of the vent
	DriftTauS                                     float64
	GustM, AirGust                                float64 // rms at rest, and the part of it between liftoff and release
}

// epoch is the start of every session of the ensemble. Any fixed time would do.
var epoch = time.Date(2026, 5, 16, 10, 0, 0, 0, time.UTC)

// S is a time as s since the flight's Epoch.
func (f *Flight) S(t time.Time) float64 { return t.Sub(f.Epoch).Seconds() }

// At is the time s seconds after the flight's Epoch.
func (f *Flight) At(s float64) time.Time { return f.Epoch.Add(seconds(s)) }

// Draw makes the flight of a spec that has this seed and index. The error
// says what in the spec cannot be flown.
func Draw(spec Spec, seed, index uint64) (Flight, error) {
	var f Flight
	err := DrawInto(&f, spec, seed, index)
	return f, err
}

// DrawInto is Draw into a flight whose memory is used again.
func DrawInto(f *Flight, spec Spec, seed, index uint64) error {
	if f.path == nil {
		f.path = &truePath{}
	}
	p, err := drawPlan(spec, seed, index, f.path)
	if err != nil {
		return fmt.Errorf("draw flight %d of %s: %w", index, spec.Name, err)
	}
	f.render(p)
	return nil
}

// render writes the flight of a plan whose path has been flown.
func (f *Flight) render(p *plan) {
	f.Name, f.Seed, f.Index, f.Epoch = p.name, p.seed, p.index, epoch
	f.Rocket, f.Site = p.rocket, p.site
	f.plan = p
	f.Truth = newTruth(f.path, p.liftoff)
	f.Setup = p.setup()
	f.Samples, f.Broken = f.Samples[:0], f.Broken[:0]
	src := newSource(p, f.path, f.Epoch)
	width := len(p.names()) + 1 // and the signal
	room := int(math.Ceil((p.end+1)*p.board.fastest())) + 2
	f.reserve(room, width)
	for i := 0; i < room; i++ {
		cell := f.slab[i*width : (i+1)*width : (i+1)*width]
		f.Samples = append(f.Samples, decode.Sample{})
		if !src.next(&f.Samples[i], cell[1:], &cell[0]) {
			f.Samples = f.Samples[:i]
			break
		}
	}
	f.Sent, f.EndS = src.sent, p.end
}

// reserve gives the samples and their channels room.
func (f *Flight) reserve(n, width int) {
	if cap(f.Samples) < n {
		f.Samples = make([]decode.Sample, 0, n)
	}
	if cap(f.slab) < n*width {
		f.slab = make([]float64, n*width)
	}
	f.slab = f.slab[:n*width]
}

// fastest is the highest rate at which the board ever sends.
func (b *board) fastest() float64 {
	r := b.rate
	for _, c := range b.rates {
		r = max(r, c.rate)
	}
	return r
}

// setup tells what was drawn.
func (p *plan) setup() Setup {
	k := p.air.paPerM()
	s := Setup{
		RateHz: p.board.rate, NoiseM: p.sensor.noisePa / k, DriftM: p.sensor.driftPa / k,
		JitterS: p.board.jitter, StepPa: p.sensor.stepPa, Loss: p.radio.loss, Accel: p.sensor.accel,
		DriftTauS: p.sensor.driftTau, GustM: p.sensor.gustPa / k, AirGust: p.sensor.airGust,
		BiasPa: p.sensor.biasPa, PortCp: p.sensor.portCp, PortLagS: p.sensor.portLag,
		Solid: p.rocket.Kind == "solid", TiltDeg: p.tiltDeg, SinkMps: p.sinkMps,
	}
	return s
}
