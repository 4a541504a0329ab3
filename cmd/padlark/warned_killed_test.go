package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"padlark/flight/sim"
)

// killedFall is what it watches.
var killedFall = fall{station: "killed", link: "pad", layout: "lark-text", round: 20.5, liftoff: killedLiftoff.Seconds(), apogee: 110}

// How often a station is ended in one flight, how many fly beside each other, and
// when the rocket leaves the pad.
const (
	killsEach     = 2
	flightsAgain  = 20 // at most, where the machine had no time for the test
	killedBeside  = 10
	killedLiftoff = 6 * time.Second
	killedInAir   = 10 * time.Second
)

// TestWarnedKilled: stations beside each other, each with a rocket that falls without
// its parachute, again and again, are killed at random moments of the flights and
// started again at once; every 25th time they are told to stop instead. In every
// flight people are told to look up, by a real program, before the rocket is down.
// PADLARK_KILLS=1000 is the long form.
func TestWarnedKilled(t *testing.T) {
	onlyInCI(t)
	t.Parallel() // it mostly waits
	kills := numberFrom(t, "PADLARK_KILLS", 8)
	flights := (kills + killsEach - 1) / killsEach
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	var (
		mu   sync.Mutex
		sum  killedSum
		wait sync.WaitGroup
	)
	next := make(chan int, flights)
	for i := range flights {
		next <- i
	}
	close(next)
	for i := range min(killedBeside, flights) {
		k := newKilled(t, rand.New(rand.NewPCG(seed, uint64(i))))
		wait.Go(func() {
			defer func() { k.life.kill() }()
			for n := range next {
				f, err := k.flight(t.Context(), n)
				for again := 0; err == nil && f.warned.IsZero() && f.late && again < flightsAgain; again++ {
					mu.Lock()
					sum.late++
					mu.Unlock()
					f, err = k.flight(t.Context(), n)
				}
				if err == nil && f.warned.IsZero() {
					err = errors.New(f.story)
				}
				if err != nil {
					t.Errorf("flight %d: %v", n, err)
				}
				mu.Lock()
				sum.add(f)
				mu.Unlock()
			}
		})
	}
	wait.Wait()
	t.Log(sum.String())
}

// killedFlight is how one flight went.
type killedFlight struct {
	ends, stops    int // how often the station was ended, and how often of these by SIGTERM
	ground, warned time.Time
	ballistic      bool // it was also said that it falls nose down
	late           bool // this machine had no time for the test itself
	story          string
}

// killedSum adds them up.
type killedSum struct {
	flights, ends, stops, ballistic, late int
	left                                  []time.Duration // from the warning to the ground
}

func (s *killedSum) add(f killedFlight) {
	s.flights, s.ends, s.stops = s.flights+1, s.ends+f.ends, s.stops+f.stops
	if f.ballistic {
		s.ballistic++
	}
	if !f.warned.IsZero() {
		s.left = append(s.left, f.ground.Sub(f.warned))
	}
}

func (s *killedSum) String() string {
	slices.Sort(s.left)
	out := fmt.Sprintf("%d flights, in which a station was ended %d times (%d by SIGTERM): %d warned of, %d of these as ballistic too",
		s.flights, s.ends, s.stops, len(s.left), s.ballistic)
	if n := len(s.left); n > 0 {
		out += fmt.Sprintf("; from the warning to the ground %.2f s at the least, %.2f s in half of them", s.left[0].Seconds(), s.left[n/2].Seconds())
	}
	return out + fmt.Sprintf("; %d flights were flown again since this machine was too busy for the test", s.late)
}

// killed is one station that is ended again and again.
type killed struct {
	t         *testing.T
	r         *rand.Rand
	scenario  sim.Scenario
	cfg, said string
	conn      net.Conn
	life      *life
	log       string // of the lives before
}

func newKilled(t *testing.T, r *rand.Rand) *killed {
	t.Helper()
	dir, udp := t.TempDir(), freePort(t)
	k := &killed{t: t, r: r, scenario: killedFall.scenario(t), said: filepath.Join(dir, "said")}
	k.cfg = killedFall.config(t, filepath.Join(dir, "data"), udp, "[web]\nlisten = \"off\"\n"+writesDown(k.said))
	var err error
	if k.conn, err = net.Dial("udp", udp); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = k.conn.Close() })
	k.life = startLife(t, k.cfg)
	<-k.life.up
	return k
}

// flight flies once.
func (k *killed) flight(ctx context.Context, n int) (f killedFlight, err error) {
	lateness := watchLateness()
	defer func() { f.late = lateness() > tooBusy }()
	start := time.Now()
	s, err := sim.New(k.scenario, uint64(n)+1, start)
	if err != nil {
		return f, err
	}
	flown := make(chan error, 1)
	go func() { flown <- fly(ctx, s, 1, map[string]io.Writer{"pad": unheard{k.conn}}) }()
	var moments []time.Duration
	for range killsEach {
		moments = append(moments, killedLiftoff-time.Second/2+time.Duration(k.r.Int64N(int64(killedInAir))))
	}
	slices.Sort(moments)
	var told []string
	for i, at := range moments {
		select {
		case <-time.After(time.Until(start.Add(at))):
		case <-ctx.Done():
			return f, ctx.Err()
		}
		f.ends, f.stops = f.ends+1, f.stops+k.end(n*killsEach+i)
		told = append(told, fmt.Sprintf("%.2f", (time.Since(start)-killedLiftoff).Seconds()))
		k.log += k.life.log.String()
		k.life = startLife(k.t, k.cfg)
	}
	if err := <-flown; err != nil {
		return f, err
	}
	truth := s.Truth()[0]
	f.ground = truth.LiftoffAt.Add(time.Duration(truth.TouchdownAfter * float64(time.Second)))
	f.warned, f.ballistic = k.warning(start, f.ground)
	if f.warned.IsZero() {
		text, _ := os.ReadFile(k.said)
		f.story = fmt.Sprintf("down %.2f s after the liftoff (%d); the station was ended at %s s, and nobody was told to look up\n%s\n%s",
			truth.TouchdownAfter, truth.LiftoffAt.UnixNano(), strings.Join(told, " and "), lastLines(string(text), 8), lastLines(k.log, 6))
	}
	return f, nil
}

// tooBusy is by how much a timer is late on a machine that has no time for a program
// that speaks either.
const tooBusy = 150 * time.Millisecond

// watchLateness watches how late a timer comes at the most, until it is asked.
func watchLateness() (most func() time.Duration) {
	quit, worst := make(chan struct{}), make(chan time.Duration, 1)
	go func() {
		late, last := time.Duration(0), time.Now()
		const every = 20 * time.Millisecond
		tick := time.NewTimer(every)
		defer tick.Stop()
		for {
			select {
			case <-quit:
				worst <- late
				return
			case <-tick.C:
				now := time.Now()
				late, last = max(late, now.Sub(last)-every), now
				tick.Reset(every)
			}
		}
	}()
	return func() time.Duration { close(quit); return <-worst }
}

// end ends the station for the i-th time of all; it gives 1 if it was told to stop.
func (k *killed) end(i int) (stops int) {
	if i%25 != 3 {
		k.life.kill()
		return 0
	}
	_ = k.life.cmd.Process.Signal(syscall.SIGTERM)
	<-k.life.ended
	return 1
}

// warning is when people were first told to look up between two moments because a
// rocket falls, and whether its fall was called by its name.
func (k *killed) warning(after, before time.Time) (first time.Time, ballistic bool) {
	text, _ := os.ReadFile(k.said) // it is not there before the first call
	for line := range strings.Lines(string(text)) {
		at, words, _ := strings.Cut(strings.ToLower(strings.TrimSpace(line)), " ")
		ns, err := strconv.ParseInt(at, 10, 64)
		falls := strings.Contains(words, "ballistic") || strings.Contains(words, "no release")
		if said := time.Unix(0, ns); err == nil && falls && strings.Contains(words, "look up") && said.After(after) && said.Before(before) {
			if first.IsZero() {
				first = said
			}
			ballistic = ballistic || strings.Contains(words, "ballistic")
		}
	}
	return first, ballistic
}

func lastLines(text string, n int) string {
	lines := strings.Split(strings.TrimSpace(text), "\n")
	return strings.Join(lines[max(0, len(lines)-n):], "\n")
}
