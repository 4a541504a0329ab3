package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"padlark/cmd/padlark/station"
	"padlark/decode"
	"padlark/flight/bench"
	"padlark/ingest"
)

// tickEvery is how often a checkup notices that time goes by.
const tickEvery = 50 * time.Millisecond

// sampleQueue is how many samples may wait for the checkup before the link
// waits in turn.
const sampleQueue = 256

// errSat ends the listening when the checkup is done.
var errSat = errors.New("the checkup is done")

// sit leads the board through the checkup. The person is asked only if asks.
func sit(ctx context.Context, ear *station.Ear, b *bench.Bench, asks bool, cio *cmdIO) (bench.Report, error) {
	samples := make(chan decode.Sample, sampleQueue)
	answers := make(chan string)
	g, gctx := errgroup.WithContext(ctx)
	g.Go(func() error {
		return ear.Run(gctx, func(s decode.Sample) error {
			select {
			case samples <- s:
				return nil
			case <-gctx.Done():
				return nil
			}
		})
	})
	if asks {
		g.Go(func() error { return readAnswers(gctx, cio.In, answers) })
	}
	g.Go(func() error {
		s := &sitter{ear: ear, bench: b, err: cio.Err}
		if err := s.run(gctx, samples, answers); err != nil {
			return err
		}
		return errSat
	})
	err := g.Wait()
	switch {
	case errors.Is(err, errSat):
		return b.Report()
	case err == nil || ctx.Err() != nil:
		return bench.Report{}, errors.New("the checkup was broken off; nothing was kept")
	}
	return bench.Report{}, err
}

// sharedWriter lets one write through at a time.
type sharedWriter struct {
	mu sync.Mutex
	w  io.Writer
}

func (s *sharedWriter) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.w.Write(p)
}

// sitter runs the checkup in one goroutine.
type sitter struct {
	ear   *station.Ear
	bench *bench.Bench
	err   io.Writer
	said  string
	share int
	alone bool // the input has ended
}

func (s *sitter) run(ctx context.Context, samples <-chan decode.Sample, answers <-chan string) error {
	t := time.NewTicker(tickEvery)
	defer t.Stop()
	for !s.bench.Done() {
		if s.alone && s.bench.Now().Question {
			s.bench.Skip()
			continue
		}
		s.tell()
		select {
		case <-ctx.Done():
			return ctx.Err()
		case m := <-samples:
			s.count()
			s.bench.Sample(&m)
		case <-t.C:
			s.count()
			clock := s.ear.Clock()
			s.bench.Tick(clock.At(clock.Now()))
		case a, more := <-answers:
			if !more {
				// Nobody answers any more: what is asked is left open.
				answers, s.alone = nil, true
				continue
			}
			s.answer(a)
		}
	}
	return nil
}

func (s *sitter) count() { s.bench.Count(linkCount(s.ear.Health())) }

// linkCount is what the bench needs of the link's health.
func linkCount(all []ingest.Health) bench.Count {
	h := all[0]
	return bench.Count{Link: h.Link, Bytes: h.Bytes, Frames: h.Frames, Bad: h.Bad, Words: h.Words, Hint: h.Hint}
}

// tell says what to do next, when that has changed.
func (s *sitter) tell() {
	d := s.bench.Now()
	if d.Done {
		return
	}
	if d.Say != s.said {
		s.said, s.share = d.Say, 0
		lead := fmt.Sprintf("%-6s ", d.Step)
		if d.Question {
			lead += "? "
		}
		wrap(s.err, lead, d.Say)
		if d.Question {
			fmt.Fprintln(s.err, "       y yes, n no, s skip the step, q stop here")
		}
	}
	if part := int(d.Share * 4); part > s.share && part < 4 {
		s.share = part
		fmt.Fprintf(s.err, "       %d %%\n", 25*part)
	}
}

// answer takes a line of the person's.
func (s *sitter) answer(a string) {
	switch strings.ToLower(strings.TrimSpace(a)) {
	case "y", "yes", "":
		s.bench.Answer(true)
	case "n", "no":
		s.bench.Answer(false)
	case "s", "skip":
		s.bench.Skip()
	case "q", "quit":
		s.bench.Stop()
	default:
		fmt.Fprintln(s.err, "       y yes, n no, s skip the step, q stop here")
	}
	s.said = "" // say what is next even if it is the same
}

// readAnswers hands on lines until the input or the context ends.
func readAnswers(ctx context.Context, in io.Reader, out chan<- string) error {
	defer close(out)
	sc := bufio.NewScanner(ingest.Interruptible(ctx, in))
	for sc.Scan() {
		select {
		case out <- sc.Text():
		case <-ctx.Done():
			return nil
		}
	}
	if err := sc.Err(); err != nil && ctx.Err() == nil {
		return fmt.Errorf("read answers: %w", err)
	}
	return nil
}

// printCheckup prints one line for each check and what to do where it is not
// well, in 80 columns.
func printCheckup(w io.Writer, r *bench.Report) error {
	name := r.Rocket
	if name == "" {
		name = "an unknown board"
	}
	fmt.Fprintf(w, "Checkup of %s on %s, %s\n\n", name, r.Link, r.At.Local().Format("2006-01-02 15:04"))
	for _, f := range r.Findings {
		line := fmt.Sprintf("%-8s  %-24s  %-16s  %s", f.Level, clip(f.Title, 24), f.Text(), f.Limit)
		fmt.Fprintln(w, strings.TrimRight(clip(line, columns), " "))
	}
	for _, f := range r.Findings {
		if f.Level == bench.Look || f.Level == bench.Bad {
			fmt.Fprintln(w)
			wrap(w, string(f.Level)+"  ", f.Title+": "+f.Words+". "+f.Mend)
		}
	}
	fmt.Fprintln(w, "\nLimits without a source beside them are common practice.")
	wrap(w, "Verdict: ", r.Verdict)
	return nil
}
