package station

import (
	"os"
	"runtime"
	"runtime/debug"

	"github.com/rs/zerolog"
)

// spareProcs is how many system calls may hold a processor of the Go runtime
// without anything else waiting for it: the archive's commit, the bus's sync, a
// write to the stream, and above all the start of a callout command, during
// which the runtime keeps the processor until the new program runs. With as many
// processors as cores, two such calls stop everything on a small computer for
// some milliseconds, just when an alarm is on its way.
const spareProcs = 4

// gcPercent is how far the heap, some 30 MB, may grow before it is collected, in
// per cent, on a machine with so much memory: a collection takes some 10 ms of
// both cores of a small computer, and what must be quick waits for it now and
// then. With 2 GB that is some 270 MB.
func gcPercent(memory uint64) int {
	switch {
	case memory >= 15<<27: // sold as 2 GB
		return 800
	case memory >= 15<<26:
		return 400
	}
	return 200
}

// favourLatency sets up the Go runtime and its threads for a station. Whoever has
// set GOMAXPROCS or GOGC in the environment is obeyed.
func favourLatency(log zerolog.Logger) {
	if os.Getenv("GOMAXPROCS") == "" {
		runtime.SetDefaultGOMAXPROCS() // so that doing it twice adds nothing
		runtime.GOMAXPROCS(runtime.GOMAXPROCS(0) + spareProcs)
	}
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(gcPercent(memory()))
	}
	if err := shortSlices(); err != nil {
		log.Debug().Err(err).Msg("the threads keep the system's time slices; alarms come a little later")
	}
}
