// Package watch is the subscriber that runs the trade's computation on live or
// replayed samples.
//
// It takes decode.Sample messages and ticks from the bus, hands them to one
// Engine in event time, and publishes what comes out: flight.Event and
// flight.Alarm to the stream, flight.State for live viewers. The Engine itself
// is pure: no clock, no I/O, no goroutine; the same samples in the same order
// give the same events, byte for byte. Order is defined by the samples' Passed:
// before a sample is handled, every tick up to its Passed is.
//
// It may import bus, decode and flight; callouts live in watch/callout.
package watch
