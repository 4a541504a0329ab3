package station

import (
	"os"
	"runtime/debug"
	"runtime/metrics"

	"github.com/rs/zerolog"
)

// Bounds of the memory that the Go runtime keeps to. It needs some 20 MB; with
// less than memoryLeast it would do little else than collect. memoryMost is twice what
// 64 rockets at 50 Hz or a flood take; the program's own pages and SQLite's come to
// it, some 50 MB, and while a passphrase is looked at its hash.
const (
	memoryLeast = 48 << 20
	memoryMost  = 68 << 20
)

// memoryLimit is what the runtime may use of a machine, or of its share in a
// container, with so many bytes; 0 if that is not known. The rest is for the
// system, the kernel's cache of the journal and the callouts.
func memoryLimit(machine uint64) int64 {
	if machine == 0 {
		return memoryMost
	}
	return int64(min(max(machine/4, memoryLeast), memoryMost))
}

// spareMemory is how much more than twice what is in use the runtime may keep, in
// bytes, while nothing flies.
const spareMemory = 4 << 20

// giveBack returns to the system what a burst has made the runtime take: by itself it
// keeps that for minutes after the last frame.
func giveBack() {
	read := []metrics.Sample{{Name: "/gc/heap/live:bytes"}, {Name: "/memory/classes/heap/objects:bytes"},
		{Name: "/memory/classes/heap/free:bytes"}, {Name: "/memory/classes/heap/unused:bytes"}}
	metrics.Read(read)
	kept := uint64(0)
	for _, m := range read[1:] {
		kept += m.Value.Uint64()
	}
	if kept > 2*read[0].Value.Uint64()+spareMemory {
		debug.FreeOSMemory()
	}
}

// fitMachine sets up the Go runtime and its threads for a station. Whoever has
// set GOMEMLIMIT in the environment is obeyed.
func fitMachine(log zerolog.Logger) {
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(memoryLimit(memory()))
	}
	if err := shortSlices(); err != nil {
		log.Debug().Err(err).Msg("the threads keep the system's time slices; alarms come a little later")
	}
}
