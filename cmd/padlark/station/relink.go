package station

import (
	"context"
	"errors"
	"reflect"

	"golang.org/x/sync/errgroup"

	"padlark/cmd/padlark/config"
	"padlark/ingest"
)

// one is a receiver that runs beside the others.
type one struct {
	r    *ingest.Receiver
	stop context.CancelFunc
	done chan struct{}
}

// start runs a receiver in a group; the caller has the lock.
func (l *links) start(ctx context.Context, g *errgroup.Group, r *ingest.Receiver, out func(ingest.Frame) error) {
	ctx, stop := context.WithCancel(ctx)
	o := &one{r, stop, make(chan struct{})}
	l.running[r.Config().Name] = o
	l.alive++
	g.Go(func() error {
		defer stop()
		defer close(o.done)
		defer l.ended()
		return r.Run(ctx, out)
	})
}

func (l *links) ended() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.alive--
}

// relinking is the way from one set of links to another. The calls are prepare,
// stop, and then start or goOn.
type relinking struct {
	l       *links
	cfg     *config.Config
	keep    map[string]*ingest.Receiver
	fresh   map[string]*ingest.Receiver
	stopped []*one
	release context.CancelFunc
}

// prepare makes the receivers of the links that are new or others than before.
func (l *links) prepare(cfg *config.Config) (*relinking, error) {
	n := &relinking{l: l, cfg: cfg, keep: map[string]*ingest.Receiver{}, fresh: map[string]*ingest.Receiver{}}
	for _, lc := range cfg.Links {
		if r := l.receivers[lc.Name]; r != nil && reflect.DeepEqual(r.Config(), lc) && framedAlike(l.cfg, cfg, lc) {
			n.keep[lc.Name] = r
			continue
		}
		r, err := newReceiver(cfg, lc, l.env)
		if err != nil {
			return nil, err
		}
		n.fresh[lc.Name] = r
	}
	return n, nil
}

// framedAlike says whether a link's bytes are cut into the same frames.
func framedAlike(old, cfg *config.Config, lc ingest.LinkConfig) bool {
	a, _ := old.Layout(lc.Layout)
	b, _ := cfg.Layout(lc.Layout)
	if checksFrame(b) {
		return reflect.DeepEqual(a, b)
	}
	return reflect.DeepEqual(a.Framing, b.Framing)
}

// stop ends the receivers that do not stay and says how many frames each has
// delivered. The others go on, and so does the line if none is left.
func (n *relinking) stop() (frames map[string]uint64, err error) {
	n.l.mu.Lock()
	if n.l.alive == 0 {
		n.l.mu.Unlock()
		return nil, errors.New("the station is ending")
	}
	n.release = n.l.hold()
	for name, o := range n.l.running {
		if n.keep[name] == nil {
			n.stopped = append(n.stopped, o)
			delete(n.l.running, name)
		}
	}
	n.l.mu.Unlock()
	frames = map[string]uint64{}
	for _, o := range n.stopped {
		o.stop()
		<-o.done
		frames[o.r.Config().Name] = o.r.Frames()
	}
	return frames, nil
}

// start runs the new receivers.
func (n *relinking) start() {
	n.l.mu.Lock()
	defer n.l.mu.Unlock()
	n.l.cfg, n.l.order, n.l.receivers = n.cfg, nil, map[string]*ingest.Receiver{}
	for _, lc := range n.cfg.Links {
		r := n.keep[lc.Name]
		if r == nil {
			r = n.fresh[lc.Name]
			n.l.begin(r)
		}
		n.l.order = append(n.l.order, r)
		n.l.receivers[lc.Name] = r
	}
	n.release()
}

// goOn runs the receivers again that were stopped.
func (n *relinking) goOn() {
	n.l.mu.Lock()
	defer n.l.mu.Unlock()
	for _, o := range n.stopped {
		n.l.begin(o.r)
	}
	n.release()
}
