// Package journal keeps what a session heard: one append-only file in the form
// of a capture (package ingest), written once and in order, before anyone has
// interpreted it. It is the only thing that must not be lost; all else can be
// computed again from it and the configuration, which is in its header.
//
//	frames -> Journal -> write(2) -> Follower -> archive, copy, uplink
//
// # What is promised
//
// Acknowledged means handed to the kernel by write(2): that survives a crash of
// the daemon at any moment, kill -9 included. What arrived together is written
// together. A loss of power costs what was written since the last fsync: at most
// SyncEvery, SyncFlying from a liftoff until the landing; in silence nothing is
// synced. A record that was torn by it is cut off when the file is opened again. A
// note of zeros ends a page where that spares the disk writing it twice (fill).
//
// A full disk stops the writing, not the watching: up to BacklogMost bytes wait
// in memory, then the oldest give way and are counted, and a note in the journal
// says how many are missing.
//
// The journal of a session that has ended is packed in columns and compressed
// (ingest.PackCapture); every reader takes it like a plain one.
//
// # Followers
//
// A Follower reads the file from a place of its own, up to what is on the disk,
// and hands on batches of storage.Entry until they are taken. While it keeps up
// it reads from the kernel's cache; one that is slow, locked or away costs no
// memory and reads on when it can. It decodes the frames by itself, from the
// session's start, so that it does not matter where it was interrupted.
package journal
