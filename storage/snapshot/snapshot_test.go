package snapshot

import (
	"bytes"
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// knot has one of everything that a snapshot must take.
type knot struct {
	id      uint8 // with a gap behind it
	at      time.Time
	rate    float64
	name    string
	numbers numbers
	best    *float64 // inside numbers
	ring    [3]bead
	newest  *bead // inside ring
	beads   []*bead
	view    []float64 // of numbers.many
	by      map[string]*bead
	kinds   map[kind]bool
	rules   []rule
	last    rule
	self    *knot
	tool    *tool
	empty   []bead
	none    []bead
}

type (
	kind    string
	numbers struct {
		_, b float64
		many [4]float64
	}
	bead struct {
		n    int
		next *bead
		when *time.Time
	}
	rule   interface{ check() bool }
	steady struct{}
	counts struct{ n int }
	tool   struct{ cut func() } // made by the program
)

func (*steady) check() bool { return true }
func (c *counts) check() bool {
	c.n++
	return c.n > 2
}

var sharp = &tool{func() {}}

func tie() *knot {
	k := &knot{id: 7, at: time.Date(2026, 6, 13, 9, 0, 0, 1, time.UTC), rate: math.NaN(), name: "Teal",
		by: map[string]*bead{}, kinds: map[kind]bool{"a": true, "b": false}, tool: sharp, empty: []bead{}}
	k.numbers.many = [4]float64{1, math.Inf(1), 3, 4}
	k.best, k.newest, k.self = &k.numbers.b, &k.ring[1], k
	k.view = k.numbers.many[1:3]
	first := &bead{n: 1, when: &k.at}
	k.ring[1] = bead{n: 9, next: first}
	first.next = k.newest
	k.beads = append(make([]*bead, 0, 5), first, nil, &k.ring[2])
	k.by["first"], k.by["nothing"] = first, nil
	k.last = &counts{n: 1}
	k.rules = []rule{&steady{}, k.last, nil}
	return k
}

func known() Known {
	return Known{Shared: map[string]any{"sharp": sharp}, Examples: []any{&knot{rules: []rule{&steady{}, &counts{}}}}}
}

// TestThereAndBack: what is read is what was written, and what two fields share
// they share again.
func TestThereAndBack(t *testing.T) {
	k := tie()
	b, err := written(k, known())
	if err != nil {
		t.Fatal(err)
	}
	var got knot
	if err := read(b, &got, known()); err != nil {
		t.Fatal(err)
	}
	if !math.IsNaN(got.rate) {
		t.Errorf("rate %g", got.rate)
	}
	k.rate, got.rate = 0, 0 // a NaN is equal to nothing
	if !reflect.DeepEqual(k, &got) {
		t.Errorf("got  %+v\nwant %+v", &got, k)
	}
	*got.best, got.view[0], got.newest.n = 5, 6, 7
	if got.numbers.b != 5 || got.numbers.many[1] != 6 || got.ring[1].n != 7 || got.beads[0].next != got.newest {
		t.Errorf("what was shared is not: %+v", got)
	}
	if got.self != &got || got.by["first"] != got.beads[0] || got.beads[2] != &got.ring[2] || got.tool != sharp {
		t.Error("a pointer leads elsewhere")
	}
	got.rules[1].check()
	if got.last.(*counts).n != 2 {
		t.Error("two fields had one rule, and have two")
	}
	if got.empty == nil || got.none != nil || cap(got.beads) != 5 {
		t.Errorf("slices: empty %v, none %v, room %d", got.empty, got.none, cap(got.beads))
	}
}

func written(root any, k Known) ([]byte, error) {
	var out bytes.Buffer
	err := Write(&out, root, k)
	return out.Bytes(), err
}

// TestSameBytes: a state that was read is written as the one that it was made of.
func TestSameBytes(t *testing.T) {
	first, err := written(tie(), known())
	if err != nil {
		t.Fatal(err)
	}
	var got knot
	if err := read(first, &got, known()); err != nil {
		t.Fatal(err)
	}
	second, err := written(&got, known())
	if err != nil || string(first) != string(second) {
		t.Errorf("%d and %d bytes, %v", len(first), len(second), err)
	}
}

// TestRefuses: what cannot be kept is told when it is written, and what is not of
// this program when it is read.
func TestRefuses(t *testing.T) {
	shared := map[string]bool{}
	for _, c := range []struct {
		name string
		v    any
		want string
	}{
		{"a function", &struct{ f func() }{func() {}}, "cannot be kept"},
		{"a channel", &struct{ c chan int }{make(chan int)}, "cannot be kept"},
		{"a map that two fields share", &struct{ a, b map[string]bool }{shared, shared}, "share one"},
		{"a tool that nobody knows", &struct{ a *tool }{&tool{}}, "none of those"},
		{"a rule that no example shows", &struct{ r rule }{new(other)}, "no example"},
	} {
		if _, err := written(c.v, known()); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	b, err := written(&struct{ A, B int32 }{1, 2}, Known{})
	if err != nil {
		t.Fatal(err)
	}
	if err := read(b, &struct{ A, C int32 }{}, Known{}); !errors.Is(err, errOther) {
		t.Errorf("another type: %v", err)
	}
	if err := read(b[:len(b)-1], &struct{ A, B int32 }{}, Known{}); !errors.Is(err, errDamaged) {
		t.Errorf("cut: %v", err)
	}
}

type other struct{ n int }

func (o *other) check() bool { return o.n > 0 }

// TestAnyChain: lists of any shape, with loops, come back as they were.
func TestAnyChain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		beads := make([]bead, rapid.IntRange(1, 20).Draw(t, "beads"))
		apart := make([]*bead, rapid.IntRange(0, 5).Draw(t, "apart"))
		var all []*bead
		for i := range beads {
			all = append(all, &beads[i])
		}
		for i := range apart {
			apart[i] = &bead{}
			all = append(all, apart[i])
		}
		for i, b := range all {
			b.n = rapid.Int().Draw(t, "n")
			if k := rapid.IntRange(-1, len(all)-1).Draw(t, "next"); k >= 0 && i%3 > 0 {
				b.next = all[k]
			}
		}
		type root struct {
			head  *bead
			beads []bead
			all   []*bead
		}
		in, out := root{all[len(all)-1], beads, all}, root{}
		b, err := written(&in, Known{})
		if err != nil {
			t.Fatal(err)
		}
		if err := read(b, &out, Known{}); err != nil {
			t.Fatal(err)
		}
		for i := range out.beads {
			if out.all[i] != &out.beads[i] {
				t.Fatalf("bead %d is not the one in the row", i)
			}
		}
		if !reflect.DeepEqual(in, out) {
			t.Fatalf("got %+v, want %+v", out, in)
		}
	})
}

// FuzzRead: bytes that are wrong give an error or wrong numbers, and every pointer
// leads to a value of its type.
func FuzzRead(f *testing.F) {
	b, err := written(tie(), known())
	if err != nil {
		f.Fatal(err)
	}
	head := len(magic) + 16
	f.Add(b[head:])
	f.Fuzz(func(t *testing.T, rest []byte) {
		var got knot
		if read(append(b[:head:head], rest...), &got, known()) != nil {
			return
		}
		if got.tool != nil && got.tool != sharp {
			t.Error("a tool that nobody made")
		}
		if _, err := written(&got, known()); err != nil && !strings.Contains(err.Error(), "overlap") {
			t.Errorf("what was read cannot be written: %v", err)
		}
	})
}

// read reads a snapshot that is in memory.
func read(b []byte, root any, k Known) error { return Read(bytes.NewReader(b), len(b), root, k) }
