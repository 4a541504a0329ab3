// Package logimport reads what a board has kept itself and was dumped after the
// landing, text or binary, through the same layouts as what comes by radio, and
// lays a log over a flight that was also heard by radio.
//
//	file -> Open -> Source (its bytes, unpacked and as UTF-8; its sum)
//	Source -> Read -> Log (what it holds, and every piece that was skipped,
//	         with the reason)
//	Log -> Each -> frames on a time line made of the board's clock, or of when
//	         a capture's bytes were heard, and what each frame says
//	heights of log and radio -> Align -> offset and its quality
//	Log and frames of the radio -> Lay -> Overlay: frames without duplicates
//
//	Log, archive -> Job -> sessions: the log alone, and laid over the radio's,
//	         each in the archive and as a journal
//
// Read and Each are passes through the source, which is read anew each time:
// a log is never in memory as a whole. A pass runs in stages beside each other:
// one goroutine cuts the bytes into pieces, some parse them, one puts them on
// the time line in order. It waits for them all, and batches of pieces are all
// that is under way.
//
// It imports ingest (framing), decode (layouts), flight, watch (its line) and storage's
// archive and journal. What a configuration says comes as a Configured, since the file is the
// command's.
package logimport
