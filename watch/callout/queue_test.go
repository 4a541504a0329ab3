package callout

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// drain takes everything that can still be said at a time.
func drain(q *queue, now time.Time) []string {
	out := []string{}
	for {
		w, ok := q.head(now)
		if !ok {
			return out
		}
		out = append(out, w.Text)
		q.pop()
	}
}

func TestQueueRanksAndReplacesNumbers(t *testing.T) {
	var q queue
	q.push(Call{Rank: Number, Rocket: "Teal", Text: "50"}, noon, 0)
	q.push(Call{Rank: Moment, Text: "apogee"}, noon, 0)
	q.push(Call{Rank: Number, Rocket: "Rust", Text: "rust 50"}, noon, 0)
	q.push(Call{Rank: Number, Rocket: "Teal", Text: "100"}, noon, 0)
	q.push(Call{Rank: Warning, Text: "look up"}, noon, 0)
	q.push(Call{Rank: Warning, Text: "look up again"}, noon, 0)
	want := []string{"look up", "look up again", "apogee", "rust 50", "100"}
	if d := cmp.Diff(want, drain(&q, noon)); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	if q.Drops.Replaced != 1 {
		t.Errorf("replaced %d numbers, want 1", q.Drops.Replaced)
	}
}

func TestQueueDropsWhatIsStale(t *testing.T) {
	var q queue
	q.push(Call{Rank: Moment, Text: "fresh"}, noon, 0)
	q.push(Call{Rank: Moment, Text: "old already"}, noon, 900*time.Millisecond)
	q.push(Call{Rank: Moment, Text: "too old"}, noon, 1100*time.Millisecond)
	if d := cmp.Diff([]string{"fresh"}, drain(&q, noon.Add(500*time.Millisecond))); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	if q.Drops.Stale != 2 {
		t.Errorf("dropped %d as stale, want 2", q.Drops.Stale)
	}
	// A fall is worth telling for longer.
	q.push(Call{Rank: Warning, Text: "look up"}, noon, 3*time.Second)
	q.push(Call{Rank: Warning, Text: "down by now"}, noon, 6*time.Second)
	if d := cmp.Diff([]string{"look up"}, drain(&q, noon.Add(time.Second))); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

// Whatever is pushed, the queue stays bounded, nothing stale comes out, a
// warning is only lost to other warnings, and every call is accounted for.
func TestQueueKeepsItsPromises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var q queue
		now := noon
		pushed, popped, warnings := 0, 0, 0
		for range rapid.IntRange(1, 100).Draw(t, "steps") {
			now = now.Add(time.Duration(rapid.IntRange(0, 300).Draw(t, "ms")) * time.Millisecond)
			if rapid.Bool().Draw(t, "push") {
				r := Rank(rapid.IntRange(1, 4).Draw(t, "rank"))
				q.push(Call{At: now, Rank: r, Rocket: fmt.Sprint(rapid.IntRange(0, 20).Draw(t, "rocket"))}, now, 0)
				pushed++
				continue
			}
			if w, ok := q.head(now); ok {
				if now.Sub(w.At) > w.patience() {
					t.Fatalf("said %v late", now.Sub(w.At))
				}
				for i := range q.n {
					if q.items[i].Rank < w.Rank {
						t.Fatalf("rank %d came before rank %d", w.Rank, q.items[i].Rank)
					}
				}
				q.pop()
				popped++
				if w.Rank == Warning {
					warnings++
				}
			}
		}
		d := q.Drops
		if got := popped + q.n + int(d.Stale+d.Full+d.Replaced); got != pushed {
			t.Fatalf("pushed %d, accounted for %d (%+v)", pushed, got, d)
		}
	})
}
