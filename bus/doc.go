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
// A message is acknowledged (LastSeq, Flush, and whoever reads it out of the
// stream) once the server has handed it to the kernel with write(2). That
// survives a crash of the daemon at any moment, kill -9 included, because the
// pages belong to the kernel by then. What is not acknowledged yet is in the
// daemon's memory, for some milliseconds, and dies with it.
//
// The bus calls fsync every Options.SyncInterval (0.9 s if not given, which
// with the fsync itself is a second) and not at all while nothing is published:
// a loss of power costs at most the last second. In flight it costs less, since
// the archive then commits, with its own fsync, every 0.15 s. Options.SyncAlways
// makes every write wait for the disk: safe and slow, and hard on a memory card.
// The places of durable consumers are the bus's own (place.go), written once a
// second at most: after a crash some seconds come again, which changes nothing.
// In a cluster with replicas the servers write a little later than they
// acknowledge; there it is the other copies that keep a message.
//
// When a write finds the disk full the server gives up its storage for good. The
// publisher keeps what it has, starts the storage again once there is room, and
// goes on. Trim and Limit are for the station, which makes room before that.
//
// The clock of the computer may be wrong and be set at any moment. Nothing here
// depends on it: the embedded server drops nothing by age, TrimOld only what the
// archive has.
package bus
