// Package bus carries a station's frames, samples, rejects, events and alarms
// from those who make them to those who use them, and keeps them for a while.
//
// It owns the NATS server that runs inside the daemon (or the connection to an
// outside one), the JetStream stream, the subjects and the JSON on them. It
// imports ingest, decode and flight for their types only, and computes nothing.
//
//	publish -> bounded queue -> one goroutine -> stream PADLARK -> Consume
//	                                          \-> core NATS     -> Subscribe
//
// # What is promised
//
// Stored kinds (frame, sample, reject, event, alarm) stand in the stream in
// exactly the order in which they were published, each once. A publish waits
// when the queue is full: nothing is dropped. Every stored message carries its
// natural key (Nats-Msg-Id) and that of the message it must directly follow
// (Nats-Expected-Last-Msg-Id), so one that is lost on the way makes all later
// ones fail too, and the publisher goes back to it. The stream belongs to one
// station: two daemons that publish as the same station slow each other down,
// and that is noticed and said.
//
// Live kinds (health, tick, state) go by core NATS: they are not stored, and a
// viewer that is too slow misses some. What is missed is counted.
//
// # What survives what
//
// A message is acknowledged (LastSeq, Flush) once the server has written it to
// its file. That survives a crash of the daemon, because the pages belong to
// the kernel by then. The server calls fsync every Options.SyncInterval (one
// second if not given) and not at all while nothing is published; a loss of
// power may cost that much. Options.SyncAlways makes every write wait for the
// disk: safe and slow, and hard on a memory card. The archive commits with its
// own fsync before it acknowledges, so the window is only for what it has not
// taken yet.
package bus
