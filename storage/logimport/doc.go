// Package logimport reads what a board has kept itself and was dumped after the
// landing, text or binary, through the same layouts as what comes by radio, and
// lays a log over a flight that was also heard by radio.
//
//	Source -> Read -> Log -> Walk (frames on a time line made of the board's
//	         clock, or of when a capture's bytes were heard; what each frame
//	         says; every piece that was skipped, with the reason)
//	heights of log and radio -> Align -> offset and its quality
//	frames of both -> Merge -> frames without duplicates
//
// Read runs in stages beside each other: one goroutine cuts the bytes into
// pieces, some parse them, one puts them on the time line in order. It waits
// for them all, and batches of pieces are all that is under way.
//
// It imports ingest (framing) and decode (layouts). It opens no file and keeps
// nothing: the caller stores the frames.
package logimport
