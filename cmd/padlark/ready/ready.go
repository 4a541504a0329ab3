// Package ready looks at the computer that a station runs on, before a day in
// the field: ports, disk, clock, archive, bus, pages, sound, power, heat. Each
// finding says what was found and, where something is wrong, what mends it.
//
// It imports config and ingest for what the station is to use, storage and
// sqlite for its disk, web for the form in which a page shows a finding. It changes nothing: it writes one small file in the data
// folder to time the disk and removes it, and it opens no serial port, because
// some boards start anew, and move a servo, when theirs is opened.
package ready

import (
	"context"
	"io/fs"
	"os"
	"time"

	"padlark/cmd/padlark/config"
	"padlark/web"
)

// The states of a finding.
const (
	Good = "good"
	Look = "look" // a person should know it
	Bad  = "bad"  // it will not work
)

// Options of a look.
type Options struct {
	// Running says that the station runs on this configuration now: its ports are
	// its own, so that they are taken proves nothing.
	Running bool
	// System is the root of the file system, for /proc and /sys; os.DirFS("/") if
	// nil.
	System fs.FS
	// Now is the time now, Synced whether the system's clock is synchronised.
	Now    time.Time
	Synced bool
}

// look is one look at everything.
type look struct {
	ctx  context.Context
	cfg  *config.Config
	opt  Options
	list []web.Finding
}

// Run looks at everything that the configuration needs. It takes some seconds at
// most: a server that does not answer is given up after two.
func Run(ctx context.Context, cfg *config.Config, o Options) []web.Finding {
	if o.System == nil {
		o.System = os.DirFS("/")
	}
	l := &look{ctx: ctx, cfg: cfg, opt: o}
	for _, part := range []func(){l.links, l.disk, l.archive, l.clock, l.bus, l.pages, l.secrets, l.sound, l.power, l.heat, l.memory} {
		if ctx.Err() != nil {
			break
		}
		part()
	}
	return l.list
}

// Worst is the worst state of a list.
func Worst(list []web.Finding) string {
	worst := Good
	for _, f := range list {
		if f.State == Bad || f.State == Look && worst == Good {
			worst = f.State
		}
	}
	return worst
}

func (l *look) say(part string, s string, found, mend string) {
	l.list = append(l.list, web.Finding{Part: part, State: s, Found: found, Mend: mend})
}
