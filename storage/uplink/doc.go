// Package uplink sends what a station hears to the stream of an outside NATS server
// or cluster: each piece of its journal once and in order, however often the way is
// cut. It owns that stream and how it is made, and holds nothing in memory.
//
//	storage/journal -> Session -> batches (storage/batch) -> JetStream
//
// It is one of the journal's followers, and imports bus for the connection and the
// subjects, and ingest, storage and storage/batch for their types.
package uplink
