// Package watch runs the trade's computation on live or replayed samples.
//
// The Watcher subscribes to samples and ticks on the bus, hands them to one
// Engine in event time, and publishes what comes out: flight.Event, flight.Alarm
// and flight.State for viewers, the first two also for the journal. It must miss
// nothing: its publisher waits for it before the bus's buffer is full, each
// sample says which stands before it, and a gap is filled from the journal. The
// Engine itself is pure: no clock, no I/O, no goroutine; the same samples in the
// same order give the same events, byte for byte. Order is defined by the
// samples' Passed: before a sample is handled, every tick up to its Passed is.
//
// It may import bus, decode and flight; callouts live in watch/callout.
package watch
