package main

import (
	"bytes"
	"path/filepath"
	"strings"
	"testing"
)

// Nothing that a terminal obeys comes through, whole or in pieces, and text in
// any script does.
func TestPlainText(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"Teal\t40 m\n", "Teal\t40 m\n"},
		{"zwölf Höhenmeter, 高度, 🚀\n", "zwölf Höhenmeter, 高度, 🚀\n"},
		{"a\x1b[2Jb\x07\r\x7f", "a?[2Jb???"},
		{"a\u009b2Jb\u0080", "a??2Jb??"},
		{"\u00a0\u00e9\u00c2", "\u00a0\u00e9\u00c2"},
	} {
		if got := plain(c.in); got != c.want {
			t.Errorf("%q becomes %q, want %q", c.in, got, c.want)
		}
		var b bytes.Buffer
		w := newPlainText(&b)
		for i := range len(c.in) {
			if _, err := w.Write([]byte{c.in[i]}); err != nil {
				t.Fatal(err)
			}
		}
		if strings.ContainsAny(b.String(), "\x1b\x07\x7f\r\u009b\u0080") {
			t.Errorf("%q comes through byte by byte as %q", c.in, b.String())
		}
	}
}

// An order in a note, and in the name of a file, is not passed on to a terminal.
func TestNoOrdersToTheTerminal(t *testing.T) {
	r := do(t, "flights", "--data", filepath.Join(t.TempDir(), "\x1b]0;gotcha\x07"))
	if strings.ContainsAny(r.out+r.err, "\x1b\x07") {
		t.Errorf("it writes %q %q", r.out, r.err)
	}
}
