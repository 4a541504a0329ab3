// Package sqlite is the archive: one SQLite file per station folder that holds
// every session, frame, sample, reject, event and alarm, and that a person can
// query with the plain sqlite3 shell. Only frames and samples, of which there
// are millions, lie in blocks of many rows (package block, below this one).
//
// It imports bus (for its messages), decode, flight and ingest (for their
// types). Messages flow in through Writer, which reads the durable consumer
// "archive" of the bus and acknowledges after the commit; they flow out through
// the reading methods of Archive.
//
// # Rows and times
//
// Every row has its natural key, so writing a message twice changes nothing:
// (session, link, n) for frames, samples and rejects, (session, id) for events,
// (session, id, change) for alarms. All times in the tables are whole ns since
// the session's epoch; sessions.epoch_ns is UTC in ns since 1970. When the
// ground computer's clock turns out to have been wrong, only
// sessions.shift_ns changes. The readers and the views (whose names end in
// _list) add it; the tables keep what was recorded.
//
// # Blocks
//
// A transaction gathers its frames by link and its samples by rocket and link,
// and stores each gathering as a block when it ends (blocktable.go). Blocks of a link
// do not overlap in the frames' numbers: rows that come again are dropped, and
// rows that belong among older ones are written into their block. Small blocks
// are merged as they pile up. Readers go from block to block (blockread.go);
// Samples and Frames give rows, Columns gives columns. A block that is damaged
// is a loss with a name, and the others are read.
//
// # What survives what
//
// The file is in WAL mode with synchronous=FULL. Rows are committed together with
// how far the journal has been followed, and only up to what the journal has on
// the disk, so neither a crash nor a loss of power leaves a row out or stores one
// that the journal has lost. The price is one fsync per commit: one in two to
// thirty seconds while frames come, one for each event or alarm, and none in
// silence. What is not committed yet is in the journal.
package sqlite
