package station

import (
	"os"
	"runtime"
	"runtime/debug"
)

// spareProcs is how many system calls may hold a processor of the Go runtime
// without anything else waiting for it: the archive's commit, the bus's sync, a
// write to the stream, and above all the start of a callout command, during
// which the runtime keeps the processor until the new program runs. With as many
// processors as cores, two such calls stop everything on a small computer for
// some milliseconds, just when an alarm is on its way.
const spareProcs = 4

// gcPercent lets the heap, some 30 MB, grow a little further before it is
// collected: a collection takes some milliseconds of both cores of a small
// computer.
const gcPercent = 200

// favourLatency sets up the Go runtime for a station. Whoever has set GOMAXPROCS
// or GOGC in the environment is obeyed.
func favourLatency() {
	if os.Getenv("GOMAXPROCS") == "" {
		runtime.SetDefaultGOMAXPROCS() // so that doing it twice adds nothing
		runtime.GOMAXPROCS(runtime.GOMAXPROCS(0) + spareProcs)
	}
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(gcPercent)
	}
}
