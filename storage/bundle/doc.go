// Package bundle writes one session of an archive as one file and puts such a
// file into another archive, so that another station can look at it and replay
// it with the same result.
//
//	archive -> Write -> FILE.plarkbundle -> Open (checks all of it) -> Import -> archive
//
// It imports storage/sqlite, bus (for the messages that the archive takes),
// decode, flight and ingest (for their types).
//
// # The file
//
// Sixteen bytes of our own (magic and version), then a zip archive, which other
// programs open too. Its entries are lists of JSON objects, one a line, in the
// form that they have on the bus: frames, samples, rejects, events, alarms,
// notes and checks; session.json has the session with its configuration.
// manifest.json comes last and has the number of lines, the size and the SHA-256
// sum of each. A file that is cut short has no manifest and is refused whole.
package bundle
