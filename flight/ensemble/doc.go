// Package ensemble makes seeded flights with known truth, to measure the
// estimators and the alarms against.
//
// A flight is drawn in four layers. A path is the true motion: by default
// from the physics of flight/model, or from a cheaper parametric boost that
// shares the same coast and descent. A sensor turns true height into pressure
// with noise, drift, gusts, bumps and steps. A board stamps it: rate, jitter,
// clock, sequence, cell, servo. A radio loses some of it. What comes out is a
// slice of decode.Sample in the order in which a station would have heard
// them, ready for the live tracker, beside the Truth.
//
// The column of air is written out here and not taken from flight/atmos, so
// that an error in one cannot hide an error in the other.
//
// Rough is a third world beside the nominal and the wide one: it flies by
// equations of its own (roughCraft), for the estimators to disagree with.
// Contrary goes further: another law of drag, thrust and gusts, and boards that smooth
// what they send. Nothing may be mended on it: it shows what figures are worth elsewhere.
//
// Three ways in: Draw for a random flight of a Spec, the named Cases and RoughCases
// for what recorded flights of real boards contain, and Inject for one named fault in
// a drawn flight. WaitingPad streams hours on the pad without holding them in
// memory.
//
// The same spec, seed and index give the same flight on every machine: the
// random numbers come from math/rand/v2's PCG, one stream per purpose, and
// readings are rounded to the steps of the sensor, so that the last bit of a
// floating-point result does not show.
//
// Only tests ask for the faults and the cases, but the flights of Draw are what sim
// flies and tune tries its rules on, so the package is part of the program.
//
// It may import decode, flight and flight/model. It does no I/O, reads no
// clock and starts no goroutine.
package ensemble
