// Package bus carries what a station hears and finds to whoever watches: live,
// as JSON, in memory. It owns the NATS server inside the daemon, or the
// connection to that of another station, the subjects and the JSON on them. It
// imports ingest, decode and flight for their types only, and computes nothing.
//
//	sequencer -> padlark.<station>.frame|sample|tick   -> watcher, pages, others
//	watcher   -> padlark.<station>.event|alarm|state   -> pages, callouts, others
//	outlet    -> padlark.<station>.standing            -> who has come too late for an alarm
//
// Nothing is stored here: what must not be lost is in the journal
// (storage/journal) before it is on the bus. A frame is published once it has
// been handed to the kernel, so whoever sees one knows that it survives a crash
// of the daemon. JSON is made only while somebody listens to it; the watcher and
// the pages of the daemon itself take samples in a compact form on a subject of
// their own (Sample.AppendCompact).
//
// The messages of one station come in the order in which they were published. A
// viewer that is too slow misses some. The watcher must not: the sequencer waits
// for it before its buffer is full, each sample says which one stands before it,
// and a gap is filled from the journal.
//
// Whoever connects from outside may read and nothing else: nobody can put an
// alarm or an event on the bus but the station itself.
package bus
