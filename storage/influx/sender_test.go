package influx

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// strict is a server that refuses some lines, as servers do, and everything for
// a while.
type strict struct {
	bad     func(line string) bool
	words   string   // how it blames a line
	deny    []string // answers to the first requests: "" takes them
	most    int      // lines per request
	partial bool     // good lines of a refused request are stored all the same
	got     map[string]int
	calls   int
}

func (s *strict) lines(_ context.Context, text string) *failure {
	s.calls++
	if len(s.deny) > 0 {
		why := s.deny[0]
		s.deny = s.deny[1:]
		if why != "" {
			return &failure{verdict: tryAgain, status: 503, reason: why}
		}
	}
	all := strings.SplitAfter(strings.TrimSuffix(text, "\n"), "\n")
	if s.most > 0 && len(all) > s.most {
		return &failure{verdict: tooLarge, status: 413, reason: "too large"}
	}
	var good []string
	for _, l := range all {
		if l = strings.TrimSuffix(l, "\n"); !s.bad(l) {
			good = append(good, l)
		}
	}
	bad := len(all) - len(good)
	if bad == 0 || s.partial {
		for _, l := range good {
			s.got[l]++
		}
	}
	if bad == 0 {
		return nil
	}
	f := &failure{status: 400, reason: s.words}
	f.verdict = judge(400, s.words)
	if s.partial {
		f.dropped = bad
	}
	return f
}

func blockOf(lines ...string) *block {
	b := &block{}
	for _, l := range lines {
		b.take(append(append(b.buf, l...), '\n'))
	}
	return b
}

// TestSendProperty: whichever lines are bad and however often the server fails,
// in the end every good line is stored and every bad one set aside once.
func TestSendProperty(t *testing.T) {
	dir := t.TempDir()
	run := 0
	rapid.Check(t, func(t *rapid.T) {
		run++
		n := rapid.IntRange(1, 200).Draw(t, "lines")
		badOnes := map[string]bool{}
		lines := make([]string, n)
		for i := range lines {
			lines[i] = fmt.Sprintf("line-%d", i)
			badOnes[lines[i]] = rapid.IntRange(0, 9).Draw(t, "bad") == 0
		}
		badOnes[lines[0]] = false // a server that takes nothing is another matter
		s := &strict{
			bad: func(l string) bool { return badOnes[l] }, got: map[string]int{}, most: rapid.SampledFrom([]int{0, 1, 7, 64}).Draw(t, "most"),
			words: rapid.SampledFrom([]string{"partial write: field type conflict", "no thanks"}).Draw(t, "words"), partial: rapid.Bool().Draw(t, "partial"),
			deny: rapid.SliceOfN(rapid.SampledFrom([]string{"", "", "busy"}), 0, 30).Draw(t, "deny"),
		}
		a := newRejected(fmt.Sprintf("%s/%d", dir, run))
		a.sync = func(*os.File) error { return nil } // many runs, and no power is lost
		snd := newSender(s, a)
		b, done := blockOf(lines...), 0
		for {
			var err error
			if done, err = snd.send(context.Background(), b, done); err == nil {
				break
			}
			var f *failure
			if !errors.As(err, &f) || f.verdict != tryAgain {
				t.Fatal(err)
			}
		}
		text, err := os.ReadFile(a.path())
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			t.Fatal(err)
		}
		for l, bad := range badOnes {
			if set := strings.Count(string(text), "\n"+l+"\n"); bad != (set == 1) || bad == (s.got[l] > 0) {
				t.Fatalf("%s: bad %v, set aside %d times, stored %d times", l, bad, set, s.got[l])
			}
		}
	})
}

// TestRefusesEverything: an answer that does not blame lines, to every line, is
// the server's trouble; nothing is set aside until it takes what it took before.
func TestRefusesEverything(t *testing.T) {
	all := true
	s := &strict{bad: func(l string) bool { return all || l == "odd" }, got: map[string]int{}, words: "org is required"}
	snd := newSender(s, newRejected(t.TempDir()))
	b := blockOf("one", "odd", "two")
	if _, err := snd.send(t.Context(), b, 0); err == nil {
		t.Fatal("no error")
	} else if f := (*failure)(nil); !errors.As(err, &f) || f.verdict != unclear {
		t.Fatal(err)
	}
	if n := snd.counts().Rejected; n != 0 {
		t.Fatalf("%d set aside", n)
	}
	all = false
	if _, err := snd.send(t.Context(), b, 0); err != nil {
		t.Fatal(err)
	}
	// Now alone: the line taken before proves that the server works.
	if _, err := snd.send(t.Context(), blockOf("odd"), 0); err != nil {
		t.Fatal(err)
	}
	if n := snd.counts().Rejected; n != 2 || s.got["one"] == 0 || s.got["two"] == 0 {
		t.Errorf("%d set aside, stored %v", n, s.got)
	}
}

// TestManyBad: when all of many lines are refused for good and the server says
// so, one request is enough.
func TestManyBad(t *testing.T) {
	s := &strict{bad: func(string) bool { return true }, got: map[string]int{}, words: "partial write: points beyond retention policy", partial: true}
	snd := newSender(s, newRejected(t.TempDir()))
	lines := make([]string, 1000)
	for i := range lines {
		lines[i] = fmt.Sprint("old ", i)
	}
	if _, err := snd.send(t.Context(), blockOf(lines...), 0); err != nil {
		t.Fatal(err)
	}
	if n := snd.counts().Rejected; n != 1000 || s.calls != 1 {
		t.Errorf("%d set aside in %d requests", n, s.calls)
	}
}

func TestRejectedIsBounded(t *testing.T) {
	a := newRejected(t.TempDir())
	a.most = 1000
	for i := range 100 {
		if err := a.add([]badLine{{text: fmt.Sprintf("sample n=%di\n", i), reason: "HTTP status 400: why\nnot"}}); err != nil {
			t.Fatal(err)
		}
	}
	for _, p := range []string{a.path(), a.path() + ".1"} {
		st, err := os.Stat(p)
		if err != nil || st.Size() > 1000 {
			t.Errorf("%s: %v %v", p, st, err)
		}
	}
	text, err := os.ReadFile(a.path())
	if err != nil || !strings.HasSuffix(string(text), " HTTP status 400: why not\nsample n=99i\n") {
		t.Errorf("%v %q", err, text)
	}
}

// TestSlow: a server that needs too long for a whole request gets smaller ones,
// until it manages.
func TestSlow(t *testing.T) {
	var sizes []int
	slow := targetFunc(func(text string) *failure {
		n := strings.Count(text, "\n")
		if sizes = append(sizes, n); n > 100 {
			return &failure{verdict: tryAgain, reason: "context deadline exceeded", timeout: true}
		}
		return nil
	})
	lines := make([]string, 3000)
	for i := range lines {
		lines[i] = fmt.Sprint("l", i)
	}
	snd := newSender(slow, newRejected(t.TempDir()))
	start := time.Now()
	done, err := snd.send(t.Context(), blockOf(lines...), 0)
	if err != nil || done != 3000 {
		t.Fatalf("%d %v; requests of %v lines", done, err, sizes)
	}
	if n := snd.counts().Lines; n != 3000 {
		t.Errorf("%d lines taken, want each once", n)
	}
	t.Logf("%d requests in %s", len(sizes), time.Since(start))
}

type targetFunc func(text string) *failure

func (f targetFunc) lines(_ context.Context, text string) *failure { return f(text) }
