// Package bench judges a board on the bench from its live samples: does it
// send, is its clock right, is its barometer quiet and to scale, does its
// apogee rule fire when the pressure goes down and comes back, does its supply
// hold when the servo moves.
//
// A Bench is led through the steps of a Plan. The samples and the time come
// from outside, in event time:
//
//	Plan -> Bench: Sample, Count, Tick, Answer, Skip -> Report
//
// Three words. A step is a stretch in which one thing is done to the board
// (left alone, lifted, its pressure changed). A check is one quantity that is
// judged. A Finding is a check with its number, its limits, a word (good,
// look, bad, not done) and what to do.
//
// It may import decode, flight, flight/atmos and flight/alarm (for what is
// known of supplies). It does no I/O, reads no clock and starts no goroutine.
// Limits without a source beside them are common practice, no source.
package bench
