package main

import (
	"io"
	"os"
	"sync/atomic"
)

// plainText writes text and nothing that a terminal would take as an order: notes,
// bundles and boards bring text of others, and an escape in it could hide lines,
// rename the window or type answers. Line ends and tabs stay; any other control
// character (ECMA-48: C0, DEL and C1) is written as "?".
type plainText struct {
	to io.Writer
	// after says that the last byte was C2, which begins a C1 character in UTF-8.
	after *atomic.Bool
}

func newPlainText(to io.Writer) io.Writer { return plainText{to, new(atomic.Bool)} }

// Write implements io.Writer. It is as safe for concurrent use as to is, but for
// a character that two writes share.
func (p plainText) Write(b []byte) (int, error) {
	var clean []byte // b with its orders taken out; nil while there was none
	after := p.after.Load()
	for i, c := range b {
		c1 := after && c >= 0x80 && c <= 0x9f
		after = c == 0xc2
		if c1 || c < 0x20 && c != '\n' && c != '\t' || c == 0x7f {
			if clean == nil {
				clean = append(make([]byte, 0, len(b)), b...)
			}
			clean[i] = '?'
			if c1 && i > 0 {
				clean[i-1] = '?'
			}
		}
	}
	p.after.Store(after)
	if clean == nil {
		clean = b
	}
	return p.to.Write(clean)
}

// raw is where bytes that are no text go, as they are.
func raw(w io.Writer) io.Writer {
	if p, ok := w.(plainText); ok {
		return p.to
	}
	return w
}

// fileOf is the file that a command writes its text to, if it is one.
func fileOf(w io.Writer) (*os.File, bool) {
	to := raw(w)
	if s, ok := to.(boxWriter); ok {
		to = s.to
	}
	f, ok := to.(*os.File)
	return f, ok
}

// plain takes the orders to a terminal out of text.
func plain(text string) string {
	var b writtenTo
	_, _ = newPlainText(&b).Write([]byte(text)) // memory takes everything
	return string(b)
}

type writtenTo []byte

func (w *writtenTo) Write(b []byte) (int, error) { *w = append(*w, b...); return len(b), nil }
