// Package track follows one rocket live: height and speed with their
// uncertainty at each sample, the phase of flight, the events, and the apogee
// before it is reached.
//
// It may import decode and flight (types), and nothing else of ours. Samples
// and ticks flow in, events and a state flow out. It does no I/O, reads no
// clock and starts no goroutine; the same samples and ticks give the same
// events, byte for byte. A sample costs no allocation unless it makes an event.
package track
