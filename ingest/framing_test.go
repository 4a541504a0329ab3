package ingest

import (
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// collect is a sink that keeps everything.
type collect struct {
	messages []string // hex
	raw      [][]byte
	wires    []int
	offsets  []int64
	rejects  []string // reason@offset+length
	reasons  []string
}

func (c *collect) Message(m Message) error {
	c.messages = append(c.messages, hex.EncodeToString(m.Bytes))
	c.raw = append(c.raw, append([]byte(nil), m.Bytes...))
	c.wires = append(c.wires, m.Wire)
	c.offsets = append(c.offsets, m.Offset)
	return nil
}

func (c *collect) Reject(r Reject) {
	c.rejects = append(c.rejects, r.Reason+" "+hex.EncodeToString(r.Bytes))
	c.reasons = append(c.reasons, r.Reason)
}

func mustFramer(t testing.TB, f Framing, limit int) *Framer {
	t.Helper()
	fr, err := NewFramer(f, limit)
	if err != nil {
		t.Fatal(err)
	}
	return fr
}

// unhex reads hex with spaces; "a..b" stands for all bytes from a to b.
func unhex(t testing.TB, s string) []byte {
	t.Helper()
	var out []byte
	for _, word := range strings.Fields(s) {
		from, to, isRange := strings.Cut(word, "..")
		b, err := hex.DecodeString(from)
		if err != nil {
			t.Fatal(err)
		}
		if !isRange {
			out = append(out, b...)
			continue
		}
		e, err := hex.DecodeString(to)
		if err != nil {
			t.Fatal(err)
		}
		for v := int(b[0]); v <= int(e[0]); v++ {
			out = append(out, byte(v))
		}
	}
	return out
}

// vectors are published encodings. The delimiters are as the encoders write
// them.
var vectors = []struct {
	name    string
	framing Framing
	message string
	wire    string
}{
	// S. Cheshire and M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM
	// Transactions on Networking 7(2), 1999. The short ones and 01..FF are the
	// examples of the encyclopedia article on it, read in a copy; those marked M
	// are from memory and computed from the paper's rules.
	{"cobs empty (computed)", Framing{Kind: "cobs"}, "", "01 00"},
	{"cobs 00", Framing{Kind: "cobs"}, "00", "01 01 00"},
	{"cobs 00 00", Framing{Kind: "cobs"}, "00 00", "01 01 01 00"},
	{"cobs 00 11 00", Framing{Kind: "cobs"}, "00 11 00", "01 02 11 01 00"},
	{"cobs 11 00 22 00", Framing{Kind: "cobs"}, "11 00 22 00", "02 11 02 22 01 00"},
	{"cobs 11 22 00 33", Framing{Kind: "cobs"}, "11 22 00 33", "03 11 22 02 33 00"},
	{"cobs 11 22 33 44 (M)", Framing{Kind: "cobs"}, "11 22 33 44", "05 11 22 33 44 00"},
	{"cobs 11 00 00 00", Framing{Kind: "cobs"}, "11 00 00 00", "02 11 01 01 01 00"},
	{"cobs 254 bytes (M)", Framing{Kind: "cobs"}, "01..fe", "ff 01..fe 00"},
	{"cobs zero and 254 bytes (M)", Framing{Kind: "cobs"}, "00 01..fe", "01 ff 01..fe 00"},
	{"cobs 255 bytes", Framing{Kind: "cobs"}, "01..ff", "ff 01..fe 02 ff 00"},
	{"cobs 254 bytes and zero (M)", Framing{Kind: "cobs"}, "02..ff 00", "ff 02..ff 01 01 00"},
	{"cobs 253 bytes, zero, one (M)", Framing{Kind: "cobs"}, "03..ff 00 01", "fe 03..ff 02 01 00"},
	{"cobs paper's IP header (M)", Framing{Kind: "cobs"}, "45 00 00 2c 4c 79 00 00 40 06 4f 37", "02 45 01 04 2c 4c 79 01 05 40 06 4f 37 00"},
	// RFC 1055, June 1988: END 192, ESC 219, ESC_END 220, ESC_ESC 221; the
	// RFC prints no example, this one is computed from its rules.
	{"slip special bytes", Framing{Kind: "slip"}, "01 c0 02 db 03 dc dd", "c0 01 db dc 02 db dd 03 dc dd c0"},
	// M. Chepponis and P. Karn, "The KISS TNC", 1987: FEND C0, FESC DB, TFEND
	// DC, TFESC DD, type byte = port << 4 | command; computed from its rules.
	{"kiss port 0 TEST", Framing{Kind: "kiss"}, "54 45 53 54", "c0 00 54 45 53 54 c0"},
	{"kiss port 5 Hello", Framing{Kind: "kiss", Port: ptr(5)}, "48 65 6c 6c 6f", "c0 50 48 65 6c 6c 6f c0"},
	{"kiss special bytes", Framing{Kind: "kiss"}, "c0 db", "c0 00 db dc db dd c0"},
	// The type byte is stuffed like any other: port 12 makes it FEND itself.
	{"kiss port 12 (computed)", Framing{Kind: "kiss", Port: ptr(12)}, "41", "c0 db dc 41 c0"},
}

func ptr[T any](v T) *T { return &v }

func TestVectors(t *testing.T) {
	for _, v := range vectors {
		t.Run(v.name, func(t *testing.T) {
			msg, wire := unhex(t, v.message), unhex(t, v.wire)
			got, err := v.framing.Encode(nil, msg)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(hex.EncodeToString(wire), hex.EncodeToString(got)); diff != "" {
				t.Errorf("encode (-want +got):\n%s", diff)
			}
			var c collect
			if err := mustFramer(t, v.framing, 0).Push(wire, &c); err != nil {
				t.Fatal(err)
			}
			want := []string{hex.EncodeToString(msg)}
			if len(msg) == 0 {
				want = nil // an empty message is nothing to a station
			}
			if diff := cmp.Diff(want, c.messages); diff != "" {
				t.Errorf("decode (-want +got):\n%s", diff)
			}
		})
	}
}

// KISS, same source: TXDELAY (command 1) of 500 ms is C0 01 32 C0, a command
// and no data.
var kissTxDelay = []byte{0xC0, 0x01, 0x32, 0xC0}

func TestKISSCommand(t *testing.T) {
	if got := EncodeKISS(nil, 0, 1, []byte{50}); !bytes.Equal(got, kissTxDelay) {
		t.Errorf("TXDELAY 500 ms: % X, want % X", got, kissTxDelay)
	}
}

var (
	ubxFraming   = Framing{Kind: "sync", Sync: "b5 62", LengthAt: 2, LengthBytes: 2, LengthAdd: 2}
	fixedFraming = Framing{Kind: "sync", Sync: "AA55", Size: 3}
	againFraming = Framing{Kind: "sync", Sync: "7E", LengthBytes: 1, LengthEndian: "big", LengthAdd: 1, LengthAgain: true}
)

// hexRange is the hex of all bytes from a to b.
func hexRange(a, b int) string {
	var s strings.Builder
	for v := a; v <= b; v++ {
		fmt.Fprintf(&s, "%02x", v)
	}
	return s.String()
}

// framerCases are streams with what is to be found in them.
var framerCases = []struct {
	name     string
	framing  Framing
	limit    int
	in       string
	whole    bool // end the stream as whole, else as cut
	messages []string
	wires    []int
	offsets  []int64
	rejects  []string
}{
	{name: "line any", framing: Framing{Kind: "line"}, in: "61 0a 62 0d 63 0d 0a 0a 64", whole: true,
		messages: []string{"61", "62", "63", "64"}, wires: []int{2, 2, 2, 1}, offsets: []int64{0, 2, 4, 8}},
	{name: "line lf keeps cr", framing: Framing{Kind: "line", Ends: "lf"}, in: "61 0d 0a",
		messages: []string{"610d"}, wires: []int{3}, offsets: []int64{0}},
	{name: "line cr keeps lf", framing: Framing{Kind: "line", Ends: "cr"}, in: "0a 61 0d",
		messages: []string{"0a61"}, wires: []int{3}, offsets: []int64{0}},
	{name: "line crlf", framing: Framing{Kind: "line", Ends: "crlf"}, limit: 2, in: "61 0d 62 0a 61 62 0d 0a 0d 0a 61 62 63 0a 64 0a",
		messages: []string{"6162", "64"}, wires: []int{4, 2}, offsets: []int64{4, 14},
		rejects: []string{"too long 610d62", "too long 616263"}},
	{name: "line cut", framing: Framing{Kind: "line"}, in: "61 0a 62",
		messages: []string{"61"}, wires: []int{2}, offsets: []int64{0}, rejects: []string{"cut off 62"}},
	{name: "line too long then good", framing: Framing{Kind: "line"}, limit: 3, in: "61 62 63 64 65 0a 66 0a",
		messages: []string{"66"}, wires: []int{2}, offsets: []int64{6}, rejects: []string{"too long 616263"}},

	{name: "cobs needless last block", framing: Framing{Kind: "cobs"}, in: "ff 01..fe 01 00",
		messages: []string{hexRange(1, 0xFE)}, wires: []int{257}, offsets: []int64{0}},
	{name: "cobs bad code then good", framing: Framing{Kind: "cobs"}, in: "05 11 22 00 02 33 00",
		messages: []string{"33"}, wires: []int{3}, offsets: []int64{4}, rejects: []string{"bad stuffing 051122"}},
	{name: "cobs zeros between", framing: Framing{Kind: "cobs"}, in: "00 00 02 33 00 00",
		messages: []string{"33"}, wires: []int{3}, offsets: []int64{2}},
	{name: "cobs empty", framing: Framing{Kind: "cobs"}, in: "01 00", rejects: []string{"empty 01"}},
	{name: "cobs too long decoded", framing: Framing{Kind: "cobs"}, limit: 2, in: "04 11 22 33 00 03 11 22 00",
		messages: []string{"1122"}, wires: []int{4}, offsets: []int64{5}, rejects: []string{"too long 04112233"}},
	{name: "cobs datagram without its zero", framing: Framing{Kind: "cobs"}, in: "02 33", whole: true,
		messages: []string{"33"}, wires: []int{2}, offsets: []int64{0}},

	{name: "slip noise before", framing: Framing{Kind: "slip"}, in: "99 c0 01 02 c0 c0 03 c0",
		messages: []string{"99", "0102", "03"}, wires: []int{2, 3, 2}, offsets: []int64{0, 2, 6}},
	{name: "slip bad escape", framing: Framing{Kind: "slip"}, in: "c0 01 db 02 c0 01 db c0 05 c0",
		messages: []string{"05"}, wires: []int{2}, offsets: []int64{8}, rejects: []string{"bad stuffing 01db02", "bad stuffing 01db"}},
	{name: "slip too long", framing: Framing{Kind: "slip"}, limit: 2, in: "c0 01 02 03 c0 db dc db dd c0 01 02 03 04 05 c0",
		messages: []string{"c0db"}, wires: []int{5}, offsets: []int64{5}, rejects: []string{"too long 010203", "too long 01020304"}},

	{name: "kiss tail, command, data", framing: Framing{Kind: "kiss"}, in: "54 c0 01 32 c0 00 41 c0 c0",
		messages: []string{"41"}, wires: []int{4}, offsets: []int64{4}, rejects: []string{"no frame start 54", "not data 0132"}},
	{name: "kiss other port, empty", framing: Framing{Kind: "kiss", Port: ptr(1)}, in: "c0 00 41 c0 10 42 c0 10 c0",
		messages: []string{"42"}, wires: []int{4}, offsets: []int64{3}, rejects: []string{"other port 0041", "empty 10"}},
	{name: "kiss bad escape", framing: Framing{Kind: "kiss"}, in: "c0 00 db 41 c0 00 42 c0",
		messages: []string{"42"}, wires: []int{4}, offsets: []int64{4}, rejects: []string{"bad stuffing 00db41"}},

	// Class, id, 16-bit little-endian length of the payload, payload, two
	// checksum bytes: the frame of a common receiver family's binary
	// protocol (layout from memory).
	{name: "sync length", framing: ubxFraming, in: "00 b5 62 01 02 01 00 99 c1 c2 b5 62 01 02 00 00 c3 c4",
		messages: []string{"0102010099c1c2", "01020000c3c4"}, wires: []int{9, 8}, offsets: []int64{1, 10}, rejects: []string{"no frame start 00"}},
	{name: "sync bad length, good one inside", framing: ubxFraming, limit: 16, in: "b5 62 b5 62 01 02 00 00 c3 c4",
		messages: []string{"01020000c3c4"}, wires: []int{8}, offsets: []int64{2}, rejects: []string{"bad length b562b5620102", "no frame start 62"}},
	{name: "sync cut, good one inside", framing: ubxFraming, limit: 400, in: "b5 62 01 02 00 01 b5 62 01 02 00 00 c3 c4",
		messages: []string{"01020000c3c4"}, wires: []int{8}, offsets: []int64{6}, rejects: []string{"cut off b56201020001b56201020000c3c4"}},
	{name: "sync fixed", framing: fixedFraming, in: "aa aa 55 01 02 03 55 aa 55 04 05 06 aa",
		messages: []string{"010203", "040506"}, wires: []int{5, 5}, offsets: []int64{1, 7},
		rejects: []string{"no frame start aa", "no frame start 55", "no frame start aa"}},
	{name: "sync kept", framing: Framing{Kind: "sync", Sync: "AA 55", Size: 1, KeepSync: true}, in: "aa 55 01",
		messages: []string{"aa5501"}, wires: []int{3}, offsets: []int64{0}},
	{name: "sync length again", framing: againFraming, in: "7e 02 11 22 02 7e 01 33 02 7e 01 44 01",
		messages: []string{"02112202", "014401"}, wires: []int{5, 4}, offsets: []int64{0, 9},
		rejects: []string{"bad length 7e013302", "no frame start 013302"}},

	{name: "datagram", framing: Framing{Kind: "datagram"}, limit: 2, in: "01 02",
		messages: []string{"0102"}, wires: []int{2}, offsets: []int64{0}},
	{name: "datagram too long", framing: Framing{Kind: "datagram"}, limit: 2, in: "01 02 03", rejects: []string{"too long 010203"}},
}

func TestFramer(t *testing.T) {
	for _, tc := range framerCases {
		t.Run(tc.name, func(t *testing.T) {
			in := unhex(t, tc.in)
			check := func(how string, c *collect, err error, offsets bool) {
				t.Helper()
				if err != nil {
					t.Fatal(err)
				}
				if diff := cmp.Diff(tc.messages, c.messages); diff != "" {
					t.Errorf("%s: messages (-want +got):\n%s", how, diff)
				}
				if diff := cmp.Diff(tc.rejects, c.rejects); diff != "" {
					t.Errorf("%s: rejects (-want +got):\n%s", how, diff)
				}
				if diff := cmp.Diff(tc.wires, c.wires); diff != "" {
					t.Errorf("%s: wire bytes (-want +got):\n%s", how, diff)
				}
				if diff := cmp.Diff(tc.offsets, c.offsets); offsets && diff != "" {
					t.Errorf("%s: offsets (-want +got):\n%s", how, diff)
				}
			}
			var c collect
			f := mustFramer(t, tc.framing, tc.limit)
			err := errors.Join(f.Push(in, &c), f.End(tc.whole, &c))
			check("in one", &c, err, true)
			if tc.framing.Kind == FramingDatagram {
				return
			}
			c = collect{}
			f = mustFramer(t, tc.framing, tc.limit)
			for i := range in {
				err = errors.Join(err, f.Push(in[i:i+1], &c))
			}
			check("byte by byte", &c, errors.Join(err, f.End(tc.whole, &c)), true)
		})
	}
}

// A long run of noise without any delimiter must show in the counts at once,
// and must not be held.
func TestFramerNoise(t *testing.T) {
	noise := bytes.Repeat([]byte{0x55}, 100_000)
	for _, f := range allFramings {
		if f.Kind == FramingDatagram {
			continue
		}
		t.Run(f.Kind, func(t *testing.T) {
			var c collect
			fr := mustFramer(t, f, 256)
			for rest := noise; len(rest) > 0; {
				n := min(1500, len(rest))
				if err := fr.Push(rest[:n], &c); err != nil {
					t.Fatal(err)
				}
				rest = rest[n:]
				if fr.Held() > 2*256+2 {
					t.Fatalf("holds %d bytes at a limit of 256", fr.Held())
				}
			}
			if len(c.messages) != 0 || len(c.reasons) == 0 {
				t.Errorf("%d messages and %d rejects, want none and some", len(c.messages), len(c.reasons))
			}
		})
	}
}

// What the sink refuses stops the push.
type refuse struct{ collect }

var errRefused = errors.New("refused")

func (r *refuse) Message(Message) error { return errRefused }

func TestFramerSinkError(t *testing.T) {
	for _, f := range allFramings {
		t.Run(f.Kind, func(t *testing.T) {
			wire, err := f.Encode(nil, sampleMessage(t, f, 8))
			if err != nil {
				t.Fatal(err)
			}
			if err := mustFramer(t, f, 0).Push(wire, &refuse{}); !errors.Is(err, errRefused) {
				t.Errorf("got %v, want the sink's error", err)
			}
		})
	}
}

func TestEncodeErrors(t *testing.T) {
	sync := Framing{Kind: "sync", Sync: "AA", LengthBytes: 1}
	tests := []struct {
		name    string
		framing Framing
		msg     string
		want    string
	}{
		{"line with lf", Framing{Kind: "line"}, "61 0a 62", "byte 1 of the message is 0x0A"},
		{"sync wrong length", sync, "03 01", "has 2 bytes after its sync word, its framing says 4"},
		{"sync no length", sync, "", "has 0 bytes"},
		{"kept sync missing", Framing{Kind: "sync", Sync: "AA", Size: 1, KeepSync: true}, "bb 01", "does not begin with its sync word AA"},
		{"lengths differ", Framing{Kind: "sync", Sync: "AA", LengthBytes: 1, LengthAgain: true}, "01 02", "differ"},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			_, err := tc.framing.Encode(nil, unhex(t, tc.msg))
			if err == nil || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("got %v, want it to say %q", err, tc.want)
			}
		})
	}
	if err := sync.SetLength(make([]byte, 300)); err == nil {
		t.Error("a length of 299 was put into one byte")
	}
	if err := sync.SetLength(nil); err == nil {
		t.Error("a length was put into no byte")
	}
}
