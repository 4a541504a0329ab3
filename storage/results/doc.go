// Package results works flights out from the archive: it reads a flight's
// samples, events and alarms, lets flight/smooth compute, and keeps what was
// computed for the next who asks. Results follow from the archive at any time: what
// is kept of them in a folder, the summaries of ended sessions, only saves the work.
//
// It imports storage/sqlite, storage/snapshot, decode and flight. In flow rows of the archive, out
// flow flight.Result and smooth.Series.
package results
