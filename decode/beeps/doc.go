// Package beeps reads the height that a board's sounder beeps out after a landing:
// it finds the beeps and pauses in a strip (see ingest/beeps), groups them by the
// code that the configuration describes, lets the repeats vote, and says when it is
// not sure. The other way round it beeps a height, to teach people the code.
//
// It imports ingest/beeps for the strip and nothing else of ours, and is pure: no
// I/O, no clock, no goroutine.
//
//	strip + Code -> ear -> timing -> candidates -> Reading
//
// The ear weighs each stretch that may be a beep; the timing is learned from the best
// path through the code's graph; the candidates are numbers, each weighed over all
// its repeats at once. A number is sure when the next is far behind.
//
// Three words. A beep is one stretch of tone, short, long or the lead. A group is
// beeps that belong to one digit or one mark. A repeat is one whole reading from
// its first beep to its last; a board says the same reading again and again.
package beeps
