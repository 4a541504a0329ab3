// Package tune judges the rules by which a small board decides that apogee has
// come, and finds settings for them.
//
// Three families of rule, with what they share: a height above the pad that
// arms the rule, a lock-out after that, and a backup time. Which families
// there are is common practice, no source. The families are
//
//	drop        the height is so many cm below the highest for n readings
//	slope       the height, less its own low-pass, is no longer positive
//	alpha-beta  the speed of an alpha-beta filter is no longer positive
//
// Everything a rule computes is whole-number arithmetic of at most 32 bits, in
// the same order as deploy/firmware/apogee.c has it: what is judged here is
// what the board does.
//
// Settings are the numbers of one rule, Board is one rule at work on one
// flight. A Flight is readings with the truth beside them: drawn by
// flight/ensemble, or recorded and worked out by flight/smooth. A Trial puts
// many Settings through many Flights and keeps an Outcome of each; Stats sums
// them up with intervals; Choose picks.
//
// A Study is the whole question: it names flights and rules in words, tries, chooses
// and checks the choice; its Report is what was found out.
//
// It may import decode, flight, flight/ensemble and flight/smooth. It does no I/O, reads no
// clock and starts no goroutine: a Trial can be filled by many goroutines, one
// Worker each, and holds the same whatever their number.
package tune
