package main

import (
	"context"
	"fmt"
	"io"
	"runtime"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"

	"padlark/flight/ensemble"
	"padlark/flight/tune"
)

// onAllCores does 0 to n-1 on all processors. Each goroutine has a worker of
// its own from start. It waits for all of them and gives the first error.
func onAllCores(ctx context.Context, n int, p *progress, start func() func(i int) error) error {
	group, ctx := errgroup.WithContext(ctx)
	var next atomic.Int64
	for range min(runtime.GOMAXPROCS(0), n) {
		group.Go(func() error {
			do := start()
			for {
				i := int(next.Add(1)) - 1
				if i >= n {
					return nil
				}
				if err := ctx.Err(); err != nil {
					return err
				}
				if err := do(i); err != nil {
					return err
				}
				p.done()
			}
		})
	}
	err := group.Wait()
	p.end()
	return err
}

// flyAll puts settings through n flights on all processors. What it gives
// does not depend on how many there are.
func flyAll(ctx context.Context, io *cmdIO, on string, spec ensemble.Spec, seed uint64, n int, settings []tune.Settings) (*tune.Trial, error) {
	trial, err := tune.NewTrial(spec, seed, n, settings)
	if err != nil {
		return nil, err
	}
	p := newProgress(io.Err, fmt.Sprintf("trying %d settings%s", len(settings), on), "flights", n)
	err = onAllCores(ctx, n, p, func() func(int) error { return trial.NewWorker().Fly })
	if err != nil {
		return nil, err
	}
	return trial, nil
}

// progress says on a writer how far work has come, from two seconds on,
// every two seconds. All of its methods are safe for concurrent use, and for nil.
type progress struct {
	out         io.Writer
	doing, what string
	of          int
	did         atomic.Int64
	due         atomic.Int64 // ns since begun at which it says so next
	begun       time.Time
}

func newProgress(out io.Writer, doing, what string, of int) *progress {
	p := &progress{out: out, doing: doing, what: what, of: of, begun: time.Now()}
	p.due.Store(int64(2 * time.Second))
	return p
}

// done counts one.
func (p *progress) done() {
	if p == nil {
		return
	}
	n := p.did.Add(1)
	now := int64(time.Since(p.begun))
	due := p.due.Load()
	if now >= due && p.due.CompareAndSwap(due, now+int64(2*time.Second)) {
		p.say(n)
	}
}

// end says that all is done, if anything was said before.
func (p *progress) end() {
	if p != nil && p.due.Load() > int64(2*time.Second) {
		p.say(p.did.Load())
	}
}

func (p *progress) say(n int64) {
	fmt.Fprintf(p.out, "padlark: %s: %d of %d %s\n", p.doing, n, p.of, p.what)
}
