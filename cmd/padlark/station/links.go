package station

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"padlark/bus"
	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/ingest"
	"padlark/ingest/broker"
)

// captureFlush is how often a capture is handed to the system: what a crash
// may cost of it.
const captureFlush = 500 * time.Millisecond

// links are all receivers of a station. They run on the clock, or, when every
// link is a capture, on the time of the recording at full speed.
type links struct {
	opt     Options
	env     ingest.Env
	capture *ingest.CaptureWriter

	mu        sync.RWMutex // what a reload changes
	cfg       *config.Config
	receivers map[string]*ingest.Receiver
	order     []*ingest.Receiver
	running   map[string]*one
	alive     int                     // receivers that have not ended
	begin     func(*ingest.Receiver)  // starts one beside the others
	hold      func() (release func()) // keeps the line going while none runs

	merge   *ingest.Merge        // recorded only
	virtual *ingest.VirtualClock // recorded only
	byPart  map[string]*ingest.Receiver
}

// openLinks looks whether the links are captures and opens them if so; then
// the links have a clock of their own.
func openLinks(opt Options) (*links, error) {
	l := &links{cfg: opt.Config, opt: opt, receivers: map[string]*ingest.Receiver{}}
	if err := l.openRecorded(); err != nil {
		return nil, errors.Join(err, l.close())
	}
	return l, nil
}

// connect makes the receivers, on the session's clock. The bus is for links that
// listen to it; nil where there is none.
func (l *links) connect(clock ingest.Clock, b *bus.Bus) error {
	env := ingest.Env{Clock: clock, Log: l.opt.Log, Stdin: l.opt.Stdin, ServeMQTT: broker.Serve}
	if b != nil {
		env.Subscribe = b.Take
	}
	if l.opt.Capture != "" {
		info := ingest.CaptureInfo{
			Station: l.cfg.Station.Name, Epoch: clock.Epoch, Links: ingest.CaptureLinks(l.cfg.Links),
		}
		var err error
		if l.capture, err = ingest.CreateCapture(l.opt.Capture, info); err != nil {
			return err
		}
		env.Tee = l.capture.WriteChunk
	}
	l.env = env
	for _, lc := range l.cfg.Links {
		if err := l.add(lc, env); err != nil {
			return err
		}
	}
	return nil
}

// newReceiver makes the receiver of a link of a configuration.
func newReceiver(cfg *config.Config, lc ingest.LinkConfig, env ingest.Env) (*ingest.Receiver, error) {
	layout, ok := cfg.Layout(lc.Layout)
	if !ok {
		return nil, fmt.Errorf("link %q: there is no layout %q", lc.Name, lc.Layout)
	}
	r, err := ingest.NewReceiver(lc, layout.Framing, env)
	if err != nil {
		return nil, err
	}
	if checksFrame(layout) {
		p, err := decode.Compile(layout, cfg.AllLayouts())
		if err != nil {
			return nil, fmt.Errorf("link %q: %w", lc.Name, err)
		}
		r.SetCheck(p.Unharmed)
	}
	return r, nil
}

// checksFrame says whether only a layout's checksum tells where messages begin.
func checksFrame(l decode.Layout) bool {
	return l.Framing.Kind == ingest.FramingSync && l.Framing.Sync == ""
}

func (l *links) add(lc ingest.LinkConfig, env ingest.Env) error {
	r, err := newReceiver(l.cfg, lc, env)
	if err != nil {
		return err
	}
	l.receivers[lc.Name] = r
	l.order = append(l.order, r)
	if l.merge != nil {
		part, err := l.part(lc)
		if err != nil {
			return err
		}
		l.byPart[part] = r
	}
	return nil
}

// openRecorded looks whether the links are captures, and opens them if so.
func (l *links) openRecorded() error {
	var paths []string
	seen := map[string]bool{}
	recorded := 0
	for _, lc := range l.cfg.Links {
		if lc.File == "" {
			continue
		}
		if !isCapture(lc.File) {
			continue
		}
		recorded++
		if !seen[lc.File] {
			seen[lc.File] = true
			paths = append(paths, lc.File)
		}
	}
	switch {
	case recorded == 0:
		return nil
	case recorded < len(l.cfg.Links):
		return errors.New("some links are captures, which run on the time of the recording, and others are not: put them into two configurations")
	}
	m, err := ingest.OpenCaptures(paths...)
	if err != nil {
		return err
	}
	l.merge, l.virtual = m, ingest.NewVirtualClock(m.Epoch())
	l.byPart = map[string]*ingest.Receiver{}
	for _, part := range m.Links() {
		l.byPart[part.Name] = nil
	}
	return nil
}

func isCapture(path string) bool {
	f, err := os.Open(path)
	if err != nil {
		// A file that is not there yet is a live link's business: it waits.
		return false
	}
	defer f.Close() //nolint:errcheck // only read from
	return ingest.IsCapture(f)
}

// part is which link of the captures a configured link reads.
func (l *links) part(lc ingest.LinkConfig) (string, error) {
	want := lc.CaptureLink
	parts := l.merge.Links()
	if want == "" {
		want = lc.Name
		if len(parts) == 1 {
			want = parts[0].Name
		}
	}
	r, ok := l.byPart[want]
	switch {
	case !ok:
		return "", fmt.Errorf("link %q: the captures hold no link %q: say with capture_link which to read", lc.Name, want)
	case r != nil:
		return "", fmt.Errorf("links %q and %q both read %q of the captures: remove one", r.Config().Name, lc.Name, want)
	}
	return want, nil
}

// counter is where the decoder's findings about a link are counted.
func (l *links) counter(link string) decodeCounter {
	if r := l.receiver(link); r != nil {
		return r.Stats()
	}
	return nil
}

// had says whether there was a link of a name at the start.
func (l *links) had(name string) bool {
	return slices.ContainsFunc(l.opt.Config.Links, func(c ingest.LinkConfig) bool { return c.Name == name })
}

// receiver is that of a link, nil if there is none.
func (l *links) receiver(link string) *ingest.Receiver {
	l.mu.RLock()
	defer l.mu.RUnlock()
	return l.receivers[link]
}

// names are those of the links.
func (l *links) names() []string {
	l.mu.RLock()
	defer l.mu.RUnlock()
	out := make([]string, len(l.order))
	for i, r := range l.order {
		out[i] = r.Config().Name
	}
	return out
}

// health is how every link is now.
func (l *links) health() []ingest.Health {
	l.mu.RLock()
	defer l.mu.RUnlock()
	out := make([]ingest.Health, len(l.order))
	for i, r := range l.order {
		out[i] = r.Health()
	}
	return out
}

// run reads every link and hands the frames on, until ctx ends or all recorded
// ones are read.
func (l *links) run(ctx context.Context, out func(ingest.Frame) error) error {
	if l.merge != nil {
		return ingest.Replay(ctx, l.merge, l.virtual, l.byPart, out)
	}
	g, gctx := errgroup.WithContext(ctx)
	l.mu.Lock()
	l.running = map[string]*one{}
	l.begin = func(r *ingest.Receiver) { l.start(gctx, g, r, out) }
	l.hold = func() func() {
		held, release := context.WithCancel(gctx)
		g.Go(func() error { <-held.Done(); return nil })
		return release
	}
	for _, r := range l.order {
		l.begin(r)
	}
	l.mu.Unlock()
	return g.Wait()
}

// flushCapture keeps the capture no more than captureFlush behind.
func (l *links) flushCapture(ctx context.Context) error {
	if l.capture == nil {
		return nil
	}
	t := time.NewTicker(captureFlush)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
			if err := l.capture.Flush(); err != nil {
				// Told once by the receivers; the reception goes on.
				return nil
			}
		}
	}
}

// close releases what newLinks opened.
func (l *links) close() error {
	var errs []error
	if l.merge != nil {
		errs = append(errs, l.merge.Close())
	}
	if l.capture != nil {
		errs = append(errs, l.capture.Close())
	}
	return errors.Join(errs...)
}
