package ensemble

import (
	"math"
	"math/rand/v2"
)

// purpose separates the random streams of one flight, so that changing how
// one thing is drawn leaves all the others as they were.
type purpose uint64

const (
	forShape purpose = iota + 1
	forMotion
	forNoise
	forSlow
	forBoard
	forRadio
	forFault
	forSecond // the second board of a fault that needs two
	forRough
	forContrary
	forPair // the second barometer of one board
)

// stream is the random source of one purpose of one flight.
func stream(seed, index uint64, p purpose) *rand.Rand {
	return rand.New(rand.NewPCG(mix(seed+uint64(p)*0x9E3779B97F4A7C15), mix(index^uint64(p)<<56)))
}

// mix spreads the bits of a small number over 64 (the finaliser of
// SplitMix64; Steele, Lea and Flood, OOPSLA 2014; constants from memory).
func mix(x uint64) uint64 {
	x += 0x9E3779B97F4A7C15
	x = (x ^ x>>30) * 0xBF58476D1CE4E5B9
	x = (x ^ x>>27) * 0x94D049BB133111EB
	return x ^ x>>31
}

// Range is an interval from which a quantity is drawn. Lo = Hi fixes it.
type Range struct{ Lo, Hi float64 }

// Fixed is a range of one value.
func Fixed(v float64) Range { return Range{v, v} }

// draw picks evenly.
func (r Range) draw(rng *rand.Rand) float64 {
	return r.Lo + (r.Hi-r.Lo)*rng.Float64()
}

// drawLog picks evenly in the logarithm, for quantities that span decades.
// Both ends must be above zero.
func (r Range) drawLog(rng *rand.Rand) float64 {
	if r.Lo == r.Hi {
		rng.Float64() // keep the stream in step
		return r.Lo
	}
	return r.Lo * math.Exp(rng.Float64()*math.Log(r.Hi/r.Lo))
}

// drawSigned picks a size from the range and a sign.
func (r Range) drawSigned(rng *rand.Rand) float64 {
	v := r.draw(rng)
	if rng.Uint64()&1 == 0 {
		return -v
	}
	return v
}

// pick chooses one of the values.
func pick(rng *rand.Rand, from []float64) float64 {
	return from[rng.IntN(len(from))]
}
