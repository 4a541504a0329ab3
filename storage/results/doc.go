// Package results works flights out from the archive: it reads a flight's
// samples, events and alarms, lets flight/smooth compute, and keeps what was
// computed for the next who asks. Nothing is stored: results follow from the
// archive at any time.
//
// It imports storage/sqlite, decode and flight. In flow rows of the archive, out
// flow flight.Result and smooth.Series.
package results
