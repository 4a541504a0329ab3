package main

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// Short work says nothing, long work a line every two seconds and one at its
// end; on a terminal there is one line, which makes room for others.
func TestProgress(t *testing.T) {
	for _, c := range []struct {
		name string
		long time.Duration // that it has taken already
		live bool
		want string
	}{
		{"short", 0, false, "skipped line 7\n"},
		{"long", 3 * time.Second, false, "padlark: reading: 1 of 9 kB\nskipped line 7\npadlark: reading: 5 of 9 kB\n"},
		{"short on a terminal", 0, true, "skipped line 7\n"},
		{"long on a terminal", 3 * time.Second, true,
			"\r\x1b[2Kpadlark: reading: 1 of 9 kB\r\x1b[2Kskipped line 7\n\r\x1b[2Kpadlark: reading: 5 of 9 kB\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var b strings.Builder
			p := newProgress(newPlainText(&b), "reading", "kB", 9)
			p.live = c.live
			p.begun = p.begun.Add(-c.long)
			p.done()
			fmt.Fprintln(p, "skipped line 7")
			p.at(5) // too soon to be told
			p.end()
			p.end() // which a deferred one may do again
			if got := b.String(); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
	var none *progress
	none.done()
	none.at(3)
	none.end()
}
