package main

import (
	"context"
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

// killedConfig is a station that calls out, and writes down what it says.
const killedConfig = `
[station]
name = "killed"
data = %q
[web]
listen = "off"
[callout]
command = ["/bin/sh", "-c", "read -r words; echo $(date +%%s%%N) \"$words\" >> \"$0\"", %q]
[[link]]
name = "pad"
udp = %q
layout = "lark-text"
[[rocket]]
name = "Rust"
id = 8
cell = "lipo-1s"
release = "servo"
release_delay_s = 0.5
mass_kg = 0.145
diameter_m = 0.09
cd = 0.45
[site]
temperature_c = 17.5
elevation_m = 212
`

// killsEach is how often a station is ended in one flight.
const killsEach = 2

// TestWarnedKilled: stations beside each other, each with a rocket that falls without
// its parachute, again and again, are killed at random moments of the flights and
// started again at once; every 25th time they are told to stop instead. In every
// flight the warning is said, by a real program. PADLARK_KILLS=1000 is the long form.
func TestWarnedKilled(t *testing.T) {
	onlyInCI(t)
	t.Parallel() // it mostly waits
	kills := numberFrom(t, "PADLARK_KILLS", 8)
	flights := (kills + killsEach - 1) / killsEach
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	var (
		mu   sync.Mutex
		all  []time.Duration
		stop int
		wait sync.WaitGroup
	)
	next := make(chan int, flights)
	for i := range flights {
		next <- i
	}
	close(next)
	for i := range min(16, flights) {
		k := newKilled(t, rand.New(rand.NewPCG(seed, uint64(i))))
		wait.Go(func() {
			for n := range next {
				left, stops, err := k.flight(t.Context(), n)
				mu.Lock()
				all, stop = append(all, left), stop+stops
				mu.Unlock()
				if err != nil {
					t.Errorf("flight %d: %v", n, err)
				}
			}
			k.life.kill()
		})
	}
	wait.Wait()
	slices.Sort(all)
	t.Logf("%d flights, ended %d times (%d by SIGTERM); from the warning to the ground: least %.2f s, half of them %.2f s and more",
		len(all), kills, stop, all[0].Seconds(), all[len(all)/2].Seconds())
}

// killed is one station that is ended again and again.
type killed struct {
	t         *testing.T
	r         *rand.Rand
	cfg, said string
	conn      net.Conn
	life      *life
	ends      int
	log       string // of the lives before
}

func newKilled(t *testing.T, r *rand.Rand) *killed {
	t.Helper()
	dir, udp := t.TempDir(), freePort(t)
	k := &killed{t: t, r: r, said: filepath.Join(dir, "said")}
	k.cfg = writeConfig(t, fmt.Sprintf(killedConfig, filepath.Join(dir, "data"), k.said, udp))
	var err error
	if k.conn, err = net.Dial("udp", udp); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = k.conn.Close() })
	k.life = startLife(t, k.cfg)
	<-k.life.up
	return k
}

// flight flies once; it gives how long before the ground the warning was said first.
func (k *killed) flight(ctx context.Context, n int) (left time.Duration, stops int, err error) {
	sc, err := sim.Parse([]byte(warnedScenario))
	if err != nil {
		return 0, 0, err
	}
	start := time.Now()
	s, err := sim.New(sc, uint64(n)+1, start)
	if err != nil {
		return 0, 0, err
	}
	flown := make(chan error, 1)
	go func() { flown <- fly(ctx, s, 1, map[string]io.Writer{"pad": unheard{k.conn}}) }()
	// From the liftoff to the ground, see warnedScenario.
	const liftoff, inAir = 8 * time.Second, 10 * time.Second
	var moments []time.Duration
	for range killsEach {
		moments = append(moments, liftoff-time.Second/2+time.Duration(k.r.Int64N(int64(inAir))))
	}
	slices.Sort(moments)
	var told []string
	for _, at := range moments {
		select {
		case <-time.After(time.Until(start.Add(at))):
		case <-ctx.Done():
			return 0, stops, ctx.Err()
		}
		stops += k.end()
		told = append(told, fmt.Sprintf("%.2f", (time.Since(start)-liftoff).Seconds()))
		k.log += k.life.log.String()
		k.life = startLife(k.t, k.cfg)
	}
	if err := <-flown; err != nil {
		return 0, stops, err
	}
	truth := s.Truth()[0]
	ground := truth.LiftoffAt.Add(time.Duration(truth.TouchdownAfter * float64(time.Second)))
	at, ok := k.firstWarning(start)
	if !ok || at.After(ground.Add(time.Second)) {
		text, _ := os.ReadFile(k.said)
		return 0, stops, fmt.Errorf("down %.2f s after the liftoff; the station was ended at %s s; a warning was said: %v, %.2f s after the ground\n%s\n%s",
			truth.TouchdownAfter, strings.Join(told, " and "), ok, at.Sub(ground).Seconds(), lastLines(string(text), 12), lastLines(k.log, 25))
	}
	return ground.Sub(at), stops, nil
}

// end ends the station; 1 if it was told to stop.
func (k *killed) end() (stops int) {
	if k.ends++; k.ends%25 != 0 {
		k.life.kill()
		return 0
	}
	_ = k.life.cmd.Process.Signal(syscall.SIGTERM)
	<-k.life.ended
	return 1
}

// firstWarning is when the falling rocket was first called out after a moment.
func (k *killed) firstWarning(after time.Time) (time.Time, bool) {
	text, _ := os.ReadFile(k.said) // it is not there before the first call
	for line := range strings.Lines(string(text)) {
		at, words, _ := strings.Cut(strings.TrimSpace(line), " ")
		ns, err := strconv.ParseInt(at, 10, 64)
		if said := time.Unix(0, ns); err == nil && said.After(after) && strings.Contains(strings.ToLower(words), "ballistic") {
			return said, true
		}
	}
	return time.Time{}, false
}

func lastLines(text string, n int) string {
	lines := strings.Split(strings.TrimSpace(text), "\n")
	return strings.Join(lines[max(0, len(lines)-n):], "\n")
}
