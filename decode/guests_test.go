package decode

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"padlark/ingest"
)

// A flood of made-up ids fills only the guests' places: a configured rocket that
// is heard afterwards has its own, a guest that is heard steadily keeps its own,
// and the flood's are forgotten.
func TestGuests(t *testing.T) {
	id := uint32(7)
	d, err := New(Config{Rockets: []RocketID{{Name: "Teal", ID: &id}}, Links: []LinkLayouts{{Link: "evil", Layouts: []string{"lark-text"}}}})
	if err != nil {
		t.Fatal(err)
	}
	line := func(id, seq int) []byte {
		return sealedLine(fmt.Sprintf("$PLRK,%d,1,%d,%d,100000,2000,4000,1100,0", id, seq, 20*seq))
	}
	hear := func(at time.Duration, id, seq int) (Sample, error) {
		return d.Decode(ingest.Frame{Link: "evil", Mono: int64(at), Heard: time.Unix(1_750_000_000, 0).Add(at), Bytes: line(id, seq)})
	}
	refused := 0
	for i := range 20_000 {
		at := time.Duration(i) * time.Millisecond
		if i%50 == 0 { // a board that nobody configured, from the beginning
			if s, err := hear(at, 99, i/50); err != nil || s.Rocket != "id-99" || s.Boot != 1 {
				t.Fatalf("at %v the steady guest is %q, boot %d, %v", at, s.Rocket, s.Boot, err)
			}
			if guest, ok := d.guest, d.isGuest; !ok || guest != 99 {
				t.Fatalf("it is told as %d, %v", guest, ok)
			}
		}
		if i > 5000 && i%20 == 0 {
			if s, err := hear(at, 7, i/20); err != nil || s.Rocket != "Teal" {
				t.Fatalf("at %v ours is %q, %v", at, s.Rocket, err)
			}
			if d.isGuest {
				t.Fatal("ours is told as a guest")
			}
		}
		_, err := hear(at, 1000+i, 0)
		var r *Reject
		if errors.As(err, &r) {
			if r.Reason != ReasonTooMany {
				t.Fatal(err)
			}
			refused++
		}
		if guest, ok := d.guest, d.isGuest; !ok || guest != uint32(1000+i) {
			t.Fatalf("the made-up id is told as %d, %v", guest, ok)
		}
	}
	if len(d.rockets) != MaxGuests+1 || len(d.byID) != MaxGuests+1 || len(d.byName) != MaxGuests+1 {
		t.Errorf("%d rockets, %d ids, %d names", len(d.rockets), len(d.byID), len(d.byName))
	}
	if refused < 19_000 || refused > 19_900 {
		t.Errorf("%d of 20000 were refused", refused)
	}
}

// sealedLine is a sentence with its checksum.
func sealedLine(text string) []byte {
	var sum byte
	for i := 1; i < len(text); i++ {
		sum ^= text[i]
	}
	return fmt.Appendf(nil, "%s*%02X", text, sum)
}
