// Package watch runs the trade's computation on live or replayed samples.
//
// The Watcher takes each decode.Sample when it has been given to the bus, and
// the ticks, hands them to one Engine in event time, and publishes what comes
// out: flight.Event and flight.Alarm to the stream, flight.State for live
// viewers. It does not wait until the stream gives the sample back: a warning
// must not wait for a disk. The bus keeps the order of the calls, so an event
// always stands after the sample that brought it about. The Engine itself
// is pure: no clock, no I/O, no goroutine; the same samples in the same order
// give the same events, byte for byte. Order is defined by the samples' Passed:
// before a sample is handled, every tick up to its Passed is.
//
// It may import bus, decode and flight; callouts live in watch/callout.
package watch
