package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"padlark/ingest"
	"padlark/web"
)

// TestMemoryUnderAttack: what strangers send takes no more memory than a small
// computer has, and a while after it the station has given it back.
// PADLARK_FLOOD_FRAMES=3000000 is the long form.
func TestMemoryUnderAttack(t *testing.T) {
	onlyInCI(t)
	t.Parallel() // it mostly waits
	const pass = "the pad is clear"
	hash, err := web.HashPassphrase(pass)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name   string
		most   int64 // bytes
		attack func(t *testing.T, b *besieged)
	}{
		{"a flood of hostile frames", 160 << 20, func(t *testing.T, b *besieged) { b.flood(t, numberFrom(t, "PADLARK_FLOOD_FRAMES", 60_000)) }},
		// One guess is worked on at a time, and takes 64 MB.
		{"guesses from 250 addresses", 160 << 20, func(t *testing.T, b *besieged) { b.guessFromEverywhere(t, 250, 4*time.Second) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			b := besiege(t, nil, pass, hash)
			pid := b.station.cmd.Process.Pid
			before := settled(t, pid)
			ctx, stop := context.WithCancel(t.Context())
			var most int64
			var wait sync.WaitGroup
			wait.Go(func() { most = mostOf(ctx, t, pid) })
			c.attack(t, b)
			stop()
			wait.Wait()
			after := int64(0)
			for begun := time.Now(); time.Since(begun) < 40*time.Second; <-time.After(100 * time.Millisecond) {
				if after = accountOf(t, pid).now; after <= before+keptMost {
					break
				}
			}
			t.Logf("%d MB before, %d MB at most, %d MB afterwards", before>>20, most>>20, after>>20)
			if most > c.most {
				t.Errorf("it took %d MB, allowed are %d\n%s", most>>20, c.most>>20, lastLines(b.station.log.String(), 60))
			}
			if after > before+keptMost {
				t.Errorf("it keeps %d MB, and had %d before\n%s", after>>20, before>>20, lastLines(b.station.log.String(), 12))
			}
		})
	}
}

// keptMost is by how much a station may be larger after an attack than before: it
// goes on following the 64 strangers that it has room for (decode.MaxGuests), which
// are some 10 MB, and the collector lets as much garbage gather.
const keptMost = 40 << 20

// mostOf is the most memory that a process holds until ctx ends.
func mostOf(ctx context.Context, t *testing.T, pid int) (most int64) {
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		most = max(most, accountOf(t, pid).now)
		select {
		case <-tick.C:
		case <-ctx.Done():
			return most
		}
	}
}

// settled is the memory that a process holds once it gives no more back for two
// seconds.
func settled(t *testing.T, pid int) int64 {
	t.Helper()
	least, since := accountOf(t, pid).now, time.Now()
	tick := time.NewTicker(100 * time.Millisecond)
	defer tick.Stop()
	for begun := time.Now(); time.Since(since) < 2*time.Second && time.Since(begun) < 30*time.Second; <-tick.C {
		if now := accountOf(t, pid).now; now < least-1<<20 {
			least, since = now, time.Now()
		}
	}
	return least
}

// flood sends so many frames that no board sends, as fast as it can.
func (b *besieged) flood(t *testing.T, n int) {
	t.Helper()
	rng := rand.New(rand.NewPCG(4, 4))
	conn, err := net.Dial("udp", b.evil)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close() //nolint:errcheck // only written to
	begun := time.Now()
	tick := time.NewTicker(time.Millisecond) // so fast that the station hears most of it
	defer tick.Stop()
	for i := range n {
		_, _ = conn.Write(hostile(rng, i)) // a full buffer is the attacker's trouble
		if i%20 == 0 {
			<-tick.C
		}
	}
	took := time.Since(begun).Seconds()
	heard := uint64(0)
	until(t, "the flood is taken", time.Minute, func() bool {
		before := heard
		heard = b.heardOn(t, "evil-udp")
		return heard > 0 && heard == before
	})
	t.Logf("%d frames in %.1f s; of them were heard: %d", n, took, heard)
}

// hostile is a frame with a sound checksum that says anything, or noise.
func hostile(r *rand.Rand, i int) []byte {
	id := r.Uint32N(1000)
	switch i % 8 {
	case 0:
		id = r.Uint32()
	case 1:
		id = 8 // ours
	case 2:
		out := make([]byte, r.IntN(400))
		for k := range out {
			out[k] = byte(r.Uint32())
		}
		return out
	case 3:
		return sealed(fmt.Sprintf("$PLRK,%d,%d,%d,%d,1e%d,%d,,%d,0", id, r.IntN(300), r.Uint32(), r.Uint32(), r.IntN(400), r.IntN(4000), r.IntN(9000)))
	}
	return sealed(fmt.Sprintf("$PLRK,%d,%d,%d,%d,%d,%d,%d,%d,%d", id, r.IntN(256), r.IntN(65536), r.Uint32(), r.IntN(1100000), r.IntN(4000), r.IntN(5000), r.IntN(3000), r.IntN(4)))
}

// heardOn is how many frames a link has heard.
func (b *besieged) heardOn(t *testing.T, link string) uint64 {
	t.Helper()
	res, err := b.crew.Get("http://" + b.web + "/api/v1/links")
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close() //nolint:errcheck // only read from
	var all []ingest.Health
	if err := json.NewDecoder(res.Body).Decode(&all); err != nil {
		t.Fatal(err)
	}
	for _, h := range all {
		if h.Link == link {
			return h.Frames
		}
	}
	t.Fatalf("no link %s among %d", link, len(all))
	return 0
}

// guessFromEverywhere tries passphrases from so many addresses at once.
func (b *besieged) guessFromEverywhere(t *testing.T, addresses int, span time.Duration) {
	t.Helper()
	ctx, stop := context.WithTimeout(t.Context(), span)
	defer stop()
	var mu sync.Mutex
	answers := map[int]int{}
	var wait sync.WaitGroup
	for i := range addresses {
		wait.Go(func() {
			from := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 1, byte(1+i%254))}}
			client := &http.Client{Transport: &http.Transport{DialContext: from.DialContext, DisableKeepAlives: true}}
			for ctx.Err() == nil {
				body := url.Values{"passphrase": {fmt.Sprint("guess ", i, time.Now())}}.Encode()
				r, err := http.NewRequestWithContext(ctx, http.MethodPost, "http://"+b.web+"/signin", strings.NewReader(body))
				if err != nil {
					return
				}
				r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
				res, err := client.Do(r)
				if err != nil {
					continue // refused, or the time is over
				}
				_, _ = io.Copy(io.Discard, res.Body)
				_ = res.Body.Close()
				mu.Lock()
				answers[res.StatusCode]++
				mu.Unlock()
			}
		})
	}
	wait.Wait()
	t.Logf("answers by status: %v", answers)
	if answers[http.StatusOK] > 0 {
		t.Error("a guess was let in")
	}
}
