package sqlite

import (
	"fmt"
	"strings"
	"testing"

	"padlark/decode"
	"padlark/storage"
)

// wideSample has so many channels, whose names begin with its number.
func wideSample(n uint64, channels int) decode.Sample {
	s := testSample("Teal", "l", n)
	s.Values = decode.Channels{}
	for i := range channels {
		s.Values.Names = append(s.Values.Names, fmt.Sprintf("made_up_%d_%04d", n, i))
		s.Values.Values = append(s.Values.Values, float64(n)*1e4+float64(i))
	}
	return s
}

// A sample with more channels than can be stored is set aside with the reason,
// once, and holds up nobody; its frame is kept.
func TestTooManyChannels(t *testing.T) {
	a := openNew(t)
	ms := entries(t, testFrame("l", 1), testSample("Teal", "l", 1), testFrame("l", 2), wideSample(2, mostChannels+1), testFrame("l", 3), wideSample(3, mostChannels))
	for range 2 {
		if err := a.Write(t.Context(), ms); err != nil {
			t.Fatal(err)
		}
	}
	if n := len(readFrames(t, a, storage.Query{})); n != 3 {
		t.Errorf("%d frames, want 3", n)
	}
	if got := readSamples(t, a, storage.Query{}); len(got) != 2 || got[0].N != 1 || got[1].N != 3 {
		t.Errorf("samples %+v", got)
	}
	if n, why := a.Aside(); n != 1 || !strings.Contains(why, "sample 2 of rocket Teal has too many channels: 1001, and at most 1000 are kept") {
		t.Errorf("%d set aside, the last because of %q", n, why)
	}
	if got := shell(t, a.Path(), `SELECT ord, reason FROM unreadable`); !strings.HasPrefix(got, "4|sample 2 of rocket Teal has too many channels") {
		t.Errorf("set aside: %s", got)
	}
}

// Names that change from sample to sample are more together than one block can
// have, in one transaction and when blocks are merged; every value is kept.
func TestNamesThatChange(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds")
	}
	a := openNew(t)
	const each, first, more = 60, 300, 80
	var all []any
	for n := uint64(1); n <= first; n++ {
		all = append(all, wideSample(n, each))
	}
	if err := a.Write(t.Context(), entries(t, all...)); err != nil {
		t.Fatal(err)
	}
	for n := uint64(first + 1); n <= first+more; n++ {
		if err := a.Write(t.Context(), entries(t, wideSample(n, each))); err != nil {
			t.Fatal(err)
		}
	}
	got := readSamples(t, a, storage.Query{})
	if len(got) != first+more {
		t.Fatalf("%d samples, want %d", len(got), first+more)
	}
	for i, s := range got {
		want := wideSample(uint64(i+1), each)
		for k, name := range want.Values.Names {
			if v, ok := s.Values.Get(name); !ok || v != want.Values.Values[k] {
				t.Fatalf("sample %d, %s: %v", s.N, name, v)
			}
		}
	}
	if n, why := a.Aside(); n != 0 {
		t.Errorf("%d set aside: %s", n, why)
	}
}

// Whatever can be stored in no way is found among the others and set aside.
func TestHopelessIsFound(t *testing.T) {
	a := openNew(t)
	db := rawDB(t, a.Path())
	if _, err := db.Exec(`CREATE TRIGGER refuse BEFORE INSERT ON rejects WHEN NEW.n IN (5, 17) BEGIN SELECT RAISE(ABORT, 'not this one'); END`); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	var all []any
	for n := uint64(1); n <= 20; n++ {
		all = append(all, testFrame("l", n), decode.Rejected{Session: "s1", Link: "l", N: n, Reject: decode.Reject{Kind: decode.Corrupt, Reason: "checksum"}})
	}
	for range 2 {
		if err := a.Write(t.Context(), entries(t, all...)); err != nil {
			t.Fatal(err)
		}
	}
	if n := len(readFrames(t, a, storage.Query{})); n != 20 {
		t.Errorf("%d frames, want 20", n)
	}
	if got := shell(t, a.Path(), `SELECT COUNT(*), (SELECT group_concat(ord) FROM unreadable) FROM rejects`); got != "18|10,34" {
		t.Errorf("rejects and what is set aside: %s", got)
	}
	if n, why := a.Aside(); n != 2 || !strings.Contains(why, "not this one") {
		t.Errorf("%d set aside, the last because of %q", n, why)
	}
}
