package alarm

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"padlark/decode"
)

// lateRun lets one board send at a rate for so many seconds while the computer
// that hears it now and then reads nothing for a while and then all at once. A
// second link, if there is one, is read late at other moments and only brings
// what the first one lost.
func lateRun(t *testing.T, rateHz, longestS float64, seed uint64, links int) []string {
	t.Helper()
	s := newScene(t, Config{Rockets: withRate(rateHz)})
	rng := rand.New(rand.NewPCG(seed, 7))
	type heard struct {
		sample *decode.Sample
		at     float64
	}
	var all []heard
	free := make([]float64, links) // until when each link is not read
	for i := range int(60 * rateHz) {
		now := float64(i+1) / rateHz
		s.now, s.seq = now, int64(i)
		x := s.sample("Teal")
		l := 0
		if links > 1 && rng.IntN(3) == 0 {
			l = 1 + rng.IntN(links-1)
		}
		x.Link = fmt.Sprintf("pad-%d", l)
		for k := range free {
			if now > free[k] && rng.Float64() < 0.15/rateHz {
				free[k] = now + longestS*rng.Float64()
			}
		}
		all = append(all, heard{x, max(now, free[l]+float64(i)*1e-7)})
	}
	slices.SortStableFunc(all, func(a, b heard) int { return int(1e9 * (a.at - b.at)) })
	ticked := 0.0
	for _, h := range all {
		for ; ticked+0.2 < h.at; ticked += 0.2 {
			s.take(s.book.Tick(s.at(ticked + 0.2)))
		}
		h.sample.Heard = start.Add(time.Duration(h.at * 1e9))
		s.now = h.at
		s.take(s.book.Sample(h.sample, s.state(), nil))
	}
	return s.kinds()
}

// A computer that has no time reads frames late and in bursts. That is neither a
// second board nor a jump of the board's clock.
func TestLateFramesAreNoSecondBoard(t *testing.T) {
	for _, c := range []struct {
		name           string
		rateHz, lateS  float64
		links, repeats int
	}{
		{"up to 0.5 s late", 50, 0.5, 1, 20},
		{"up to 2 s late", 50, 2, 1, 20},
		{"slow board", 2, 3, 1, 100},
		{"two receivers", 20, 2, 2, 20},
	} {
		t.Run(c.name, func(t *testing.T) {
			for seed := range uint64(c.repeats) {
				got := lateRun(t, c.rateHz, c.lateS, seed, c.links)
				for _, kind := range []string{"duplicate-id", "clock-jump"} {
					if slices.Contains(got, kind) {
						t.Fatalf("seed %d: raised %v", seed, got)
					}
				}
			}
		})
	}
}

// Two boards are still told when both are heard late and in bursts.
func TestLateFramesOfTwoBoards(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	s := newScene(t, Config{})
	var queue []*decode.Sample
	until := 0.0
	for i := range 50 * 20 {
		s.now, s.seq = float64(i+1)/50, int64(i)
		a := s.sample("Teal")
		b := s.sample("Teal")
		b.Clock += 31e6
		b.Seq += 17
		queue = append(queue, a, b)
		if s.now < until {
			continue
		}
		for _, x := range queue {
			x.Heard = s.at(s.now)
			s.take(s.book.Sample(x, s.state(), nil))
		}
		queue = queue[:0]
		if rng.IntN(50) == 0 {
			until = s.now + rng.Float64()
		}
	}
	if got := s.kinds(); !slices.Contains(got, "duplicate-id") {
		t.Errorf("raised %v, want duplicate-id", got)
	}
}

// A jump back is told too, though a little later than one forward.
func TestClockJumpsBack(t *testing.T) {
	s := newScene(t, Config{})
	s.run(5, nil)
	s.clock -= 2
	s.run(4, nil)
	if a := s.find("clock-jump"); a.Kind == "" || !strings.Contains(a.Reason, "back by 2.00 s") {
		t.Errorf("raised %v, reason %q", s.kinds(), a.Reason)
	}
}
