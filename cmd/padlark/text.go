package main

import (
	"fmt"
	"io"
	"os"
	"strings"
	"sync/atomic"

	"golang.org/x/text/width"
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

const columns = 80

// wrap writes text in lines of at most 80 columns; the later lines are indented
// as far as the first one's lead.
func wrap(w io.Writer, lead, text string) { wrapTo(w, columns, lead, text) }

// wrapTo is wrap for another width.
func wrapTo(w io.Writer, most int, lead, text string) {
	pad := strings.Repeat(" ", len(lead))
	line, used := lead, len(lead)
	fresh := true
	for _, word := range strings.Fields(text) {
		gap := " "
		for _, part := range pieces(word) {
			n := columnsOf(part)
			if !fresh && used+len(gap)+n > most {
				fmt.Fprintln(w, line)
				line, used, fresh = pad, len(pad), true
			}
			if !fresh {
				line, used = line+gap, used+len(gap)
			}
			line, used, fresh, gap = line+part, used+n, false, ""
		}
	}
	fmt.Fprintln(w, line)
}

// columnsOf is how many columns of a terminal a text takes: of East Asian wide
// characters each takes two (Unicode UAX 11).
func columnsOf(text string) (n int) {
	for _, r := range text {
		n++
		if isWide(r) {
			n++
		}
	}
	return n
}

func isWide(r rune) bool {
	k := width.LookupRune(r).Kind()
	return k == width.EastAsianWide || k == width.EastAsianFullwidth
}

// pieces parts a word where a line may end: after each wide character, but not
// before a mark that closes.
func pieces(word string) (out []string) {
	from, last := 0, rune(0)
	for i, r := range word {
		if i > 0 && (isWide(last) || isWide(r)) && !strings.ContainsRune("。、）！？：", r) && last != '（' {
			out, from = append(out, word[from:i]), i
		}
		last = r
	}
	return append(out, word[from:])
}

// clip cuts a text to so many characters.
func clip(s string, width int) string {
	r := []rune(s)
	if len(r) <= width {
		return s
	}
	return string(r[:width-1]) + "…"
}
