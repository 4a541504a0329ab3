// Package flight holds the words of the trade that the other parts share: a
// Rocket and its Site, the Phase it is in, the Event that happened, the Alarm
// that a person must know of, the State for the pages and the Result after the
// landing. It computes nothing itself; its sub-packages do, one job each:
//
//	atmos     the standard atmosphere, height from pressure
//	model     thrust, drag and descent
//	predict   the model's use before a flight
//	ensemble  drawn flights whose truth is known
//	sim       simulated boards that send real frames
//	track     the estimator in flight
//	ground    places seen from the pad, and the landing
//	smooth    the results after a flight
//	alarm     the rules of the alarms
//	tune      release rules for firmware
//	bench     the steps of a checkup
//
// Everything here and below is pure: no I/O, no clock, no goroutine. Time comes
// in with the data. It may import decode, for samples, and nothing else of ours.
// Heights are in m above the pad, times are UTC, and an unknown quantity is nil.
//
// The benchmarks Ensemble and Faults in this folder measure the parts together.
package flight
