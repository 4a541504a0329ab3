// Package logimport reads what a board has kept itself and was dumped after the
// landing, text or binary, through the same layouts as what comes by radio, and
// lays a log over a flight that was also heard by radio.
//
//	bytes -> Read -> Log (frames on a time line made of the board's clock, and
//	         every piece that was skipped, with the reason)
//	heights of log and radio -> Align -> offset and its quality
//	frames of both -> Merge -> frames without duplicates
//
// It imports ingest (framing) and decode (layouts). It opens no file and keeps
// nothing: the caller stores the frames.
package logimport
