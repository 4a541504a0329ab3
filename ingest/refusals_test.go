package ingest

import (
	"testing"
	"time"
)

// TestRefusals: a link of which nothing can be read is trouble, told once and after half
// a minute again; one frame that is read mends it; a good link is never told of, and what
// was refused before another session does not count.
func TestRefusals(t *testing.T) {
	var r Refusals
	at := time.Date(2026, 5, 2, 9, 0, 0, 0, time.UTC)
	var h Health
	second := func(frames, refused uint64) Refusal {
		at = at.Add(time.Second)
		h.Link, h.At = "pad", at
		h.Frames, h.Refused = h.Frames+frames, h.Refused+refused
		if refused > 0 {
			h.Rejected = []Rejected{{Reason: "checksum"}}
			h.Bad = map[string]uint64{"checksum": h.Refused}
		}
		return r.Take(h)
	}
	if got := second(50, 0); got != (Refusal{Read: 50}) {
		t.Errorf("a good link: %+v", got)
	}
	for range refusalsLook {
		second(0, 0)
	}
	if got := second(1, 1); got.Trouble {
		t.Errorf("one frame refused: %+v", got)
	}
	if got := second(3, 3); !got.Trouble || !got.News || got.Refused != 4 || got.Read != 0 {
		t.Errorf("all refused: %+v", got)
	}
	news := 0
	for range 30 {
		if got := second(3, 3); !got.Trouble {
			t.Errorf("still refused: %+v", got)
		} else if got.News {
			news++
		}
	}
	if news != 1 {
		t.Errorf("told %d times in the next 30 s, want once", news)
	}
	if got := second(5, 0); !got.Mended || got.News || got.Trouble {
		t.Errorf("read again: %+v", got)
	}
	h = Health{}
	if got := second(5, 0); got != (Refusal{Read: 5}) {
		t.Errorf("another session: %+v", got)
	}
}
