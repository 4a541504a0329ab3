package logimport

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"unicode/utf16"
	"unicode/utf8"

	"padlark/ingest"
)

const sniffBytes = 1024 // by which the kind of a file is told

// opener gives the bytes of a file anew for each pass: unpacked if it is
// packed by gzip, and a text as UTF-8 without byte order mark.
type opener func() (io.Reader, error)

// Form says what is known of a log before it is read.
type Form struct {
	// Text says that it is lines of text, not a binary log.
	Text bool
	// Commas says that a comma between two digits can only be a decimal comma.
	Commas bool
}

// sniff finds out how a file is to be opened.
func (s *Source) sniff(r io.ReaderAt, size int64, form Form) error {
	s.open = func() (io.Reader, error) { return io.NewSectionReader(r, 0, size), nil }
	head, err := headOf(s.open)
	if err != nil {
		return err
	}
	if bytes.HasPrefix(head, []byte{0x1f, 0x8b, 8}) { // RFC 1952, 2.3.1
		packed := unpacking(s.open)
		if unpacked, err := headOf(packed); err == nil {
			s.open, head, s.packed = packed, unpacked, true
		} else if form.Text {
			return fmt.Errorf("it begins as a gzip file and cannot be unpacked (%w): take another copy of it", err)
		}
	}
	switch {
	case ingest.IsCapture(bytes.NewReader(head)):
		s.kind = captured
		return nil
	case !form.Text:
		return nil
	case bytes.HasPrefix(head, []byte("PK\x03\x04")):
		return errors.New("it is a zip file: unpack it, and import the log that is in it")
	}
	s.open = asUTF8(s.open, head)
	if !form.Commas {
		return nil
	}
	found, err := decimalCommas(s.open)
	if err != nil || !found {
		return err
	}
	s.Hint = "its numbers have decimal commas; they are read, and kept, with points"
	plain := s.open
	s.open = func() (io.Reader, error) {
		in, err := plain()
		return &withPoints{in: bufio.NewReaderSize(in, blockBytes)}, err
	}
	return nil
}

func unpacking(open opener) opener {
	return func() (io.Reader, error) {
		in, err := open()
		if err != nil {
			return nil, err
		}
		return gzip.NewReader(bufio.NewReaderSize(in, blockBytes))
	}
}

func headOf(open opener) ([]byte, error) {
	r, err := open()
	if err != nil {
		return nil, err
	}
	head := make([]byte, sniffBytes)
	n, err := io.ReadFull(r, head)
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		err = nil
	}
	return head[:n], err
}

// asUTF8 takes the byte order mark off, and makes UTF-8 of UTF-16, which
// programs of the office kind write (RFC 2781; marks as in RFC 3629, 6).
func asUTF8(open opener, head []byte) opener {
	var order binary.ByteOrder
	skip := 0
	switch {
	case bytes.HasPrefix(head, []byte{0xef, 0xbb, 0xbf}):
		skip = 3
	case bytes.HasPrefix(head, []byte{0xff, 0xfe}):
		order, skip = binary.LittleEndian, 2
	case bytes.HasPrefix(head, []byte{0xfe, 0xff}):
		order, skip = binary.BigEndian, 2
	default:
		if order = wide(head); order == nil {
			return open
		}
	}
	return func() (io.Reader, error) {
		r, err := open()
		if err != nil {
			return nil, err
		}
		in := bufio.NewReaderSize(r, blockBytes)
		if _, err := in.Discard(skip); err != nil {
			return nil, err
		}
		if order == nil {
			return in, nil
		}
		return &fromUTF16{in: in, order: order}, nil
	}
}

// wide tells UTF-16 without a mark: of ASCII in it, every second byte is zero.
func wide(head []byte) binary.ByteOrder {
	var zeros [2]int
	for i, b := range head {
		if b == 0 {
			zeros[i%2]++
		}
	}
	switch most := len(head) / 2 * 9 / 10; {
	case len(head) < 8:
	case zeros[1] >= most && zeros[0] == 0:
		return binary.LittleEndian
	case zeros[0] >= most && zeros[1] == 0:
		return binary.BigEndian
	}
	return nil
}

// fromUTF16 reads UTF-16 as UTF-8.
type fromUTF16 struct {
	in    *bufio.Reader
	order binary.ByteOrder
	left  []byte
	room  [utf8.UTFMax]byte
}

// Read implements io.Reader.
func (u *fromUTF16) Read(b []byte) (n int, err error) {
	for n < len(b) {
		if len(u.left) > 0 {
			k := copy(b[n:], u.left)
			n, u.left = n+k, u.left[k:]
			continue
		}
		r, err := u.next()
		if err != nil {
			if n > 0 && errors.Is(err, io.EOF) {
				return n, nil
			}
			return n, err
		}
		if r < utf8.RuneSelf {
			b[n] = byte(r)
			n++
			continue
		}
		u.left = utf8.AppendRune(u.room[:0], r)
	}
	return n, nil
}

// next is the next code point; an odd byte at the end is none.
func (u *fromUTF16) next() (rune, error) {
	two, err := u.in.Peek(2)
	if err != nil {
		return 0, err
	}
	r := rune(u.order.Uint16(two))
	if _, err := u.in.Discard(2); err != nil || !utf16.IsSurrogate(r) {
		return r, err
	}
	low, err := u.in.Peek(2)
	if err != nil {
		return utf8.RuneError, nil //nolint:nilerr // half a pair at the end
	}
	pair := utf16.DecodeRune(r, rune(u.order.Uint16(low)))
	if pair != utf8.RuneError {
		_, err = u.in.Discard(2)
	}
	return pair, err
}

// decimalCommas says whether the numbers of a text have commas for points: one
// has, and none has a point.
func decimalCommas(open opener) (bool, error) {
	head, err := headOf(open)
	if err != nil {
		return false, err
	}
	comma := false
	for i := 1; i+1 < len(head); i++ {
		if !isDigit(head[i-1]) || !isDigit(head[i+1]) {
			continue
		}
		if head[i] == '.' {
			return false, nil
		}
		comma = comma || head[i] == ','
	}
	return comma, nil
}

func isDigit(b byte) bool { return b >= '0' && b <= '9' }

// withPoints makes points of the commas between two digits.
type withPoints struct {
	in   *bufio.Reader
	last byte
}

// Read implements io.Reader.
func (w *withPoints) Read(b []byte) (int, error) {
	n, err := w.in.Read(b)
	for i, c := range b[:n] {
		if c == ',' && isDigit(w.last) {
			next := b[i+1 : n]
			if len(next) == 0 {
				next, _ = w.in.Peek(1) //nolint:errcheck // at the end nothing follows
			}
			if len(next) > 0 && isDigit(next[0]) {
				b[i] = '.'
			}
		}
		w.last = c
	}
	return n, err
}
