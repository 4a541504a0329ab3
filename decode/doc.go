// Package decode turns the frames of a link into samples: channels in SI
// units with the rocket, boot, sequence number and the three times that
// belong to them.
//
// It owns layouts (how one kind of frame is laid out, as data), checksums,
// units, barometer compensation, the tracking of sequence, clock and reboot of
// each board, the clock map that says when a value was measured, and the
// merging of two receivers that hear one rocket. It may import ingest and
// nothing else of ours.
//
// What flows through: ingest.Frame in, Sample out; or a *Reject that says
// whether the frame is corrupt (damaged) or unknown (intact but not ours),
// why, and at which byte.
//
//	frame -> checksum -> match -> fields -> units, calibration, barometer
//	      -> track (boot, seq, clock unwrapped) -> clock map -> sample
//
// Three words. A Layout is what a person writes. A Program is a layout that
// has been checked and compiled; it holds no state and may be shared. A
// Decoder holds the state of one station: what each rocket last sent on each
// link.
//
// Package document picks values out of JSON, CBOR and MessagePack, package aprs
// reads the reports of that standard; both know nothing of layouts. A frame may
// also say what others mean (learn.go), hold a frame of another layout (carried.go),
// be one of several kinds (kinds.go) or hold several readings (series.go).
//
// The package does no I/O, reads no wall clock, starts no goroutine and keeps
// no package state, so that a replay of the same frames gives the same
// samples bit for bit.
package decode
