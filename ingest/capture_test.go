package ingest

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/klauspost/compress/zstd"
)

func writeCapture(t testing.TB, info CaptureInfo, chunks []Chunk) []byte {
	t.Helper()
	var buf bytes.Buffer
	w, err := NewCaptureWriter(&buf, info)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range chunks {
		if err := w.WriteChunk(c); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

// readChunks reads to the error that ends it, with copies of the chunks.
func readChunks(r interface{ Next() (Chunk, error) }) ([]Chunk, error) {
	var chunks []Chunk
	for {
		c, err := r.Next()
		if err != nil {
			return chunks, err
		}
		c.Bytes = append([]byte{}, c.Bytes...)
		if c.RSSI != nil {
			c.RSSI = ptr(*c.RSSI)
		}
		chunks = append(chunks, c)
	}
}

func TestCaptureRoundTrip(t *testing.T) {
	path := filepath.Join(t.TempDir(), "field.capture")
	w, err := CreateCapture(path, testInfo)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range testChunks {
		if err := w.WriteChunk(c); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	r, err := NewCaptureReader(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(testInfo, r.Info()); diff != "" {
		t.Errorf("info (-want +got):\n%s", diff)
	}
	got, err := readChunks(r)
	if !errors.Is(err, io.EOF) {
		t.Fatal(err)
	}
	if diff := cmp.Diff(testChunks, got); diff != "" {
		t.Errorf("chunks (-want +got):\n%s", diff)
	}
	if !IsCapture(bytes.NewReader(data)) || IsCapture(strings.NewReader("$PLRK,7\r\n")) || IsCapture(strings.NewReader("PL")) {
		t.Error("IsCapture takes one for the other")
	}
	if at, torn := r.Torn(); torn || at != int64(len(data)) {
		t.Errorf("torn %v at %d, want whole to %d", torn, at, len(data))
	}
	z, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	packed := z.EncodeAll(data, nil)
	if r, err = NewCaptureReader(bytes.NewReader(packed)); err != nil {
		t.Fatal(err)
	}
	if got, _ := readChunks(r); !cmp.Equal(testChunks, got) || !IsCapture(bytes.NewReader(packed)) {
		t.Errorf("compressed: %d chunks", len(got))
	}
	if IsCapture(bytes.NewReader(z.EncodeAll([]byte("$PLRK,7,1,2,3"), nil))) || IsCapture(bytes.NewReader(packed[:5])) {
		t.Error("what is compressed and no capture is taken for one")
	}
	if _, err := CreateCapture(path, testInfo); err == nil || !strings.Contains(err.Error(), "exists already: move it away") {
		t.Errorf("writing over a capture: %v", err)
	}
}

// The checksum is CRC-32C: check value E3069283 for "123456789" (catalogue of
// parametrised CRC algorithms, CRC-32/ISCSI; from memory, and computed).
func TestCaptureChecksum(t *testing.T) {
	if got := crc32.Checksum([]byte("123456789"), castagnoli); got != 0xE3069283 {
		t.Errorf("got %08X, want E3069283", got)
	}
}

// A capture cut at any byte of its last record, or followed by zeros, ends
// with the record before it, as after a crash.
func TestCaptureTornTail(t *testing.T) {
	whole := writeCapture(t, testInfo, testChunks)
	before := len(writeCapture(t, testInfo, testChunks[:3]))
	read := func(name string, data []byte, wantChunks int, wantTorn bool) {
		t.Helper()
		r, err := NewCaptureReader(bytes.NewReader(data))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		got, err := readChunks(r)
		if !errors.Is(err, io.EOF) {
			t.Errorf("%s: %v, want a normal end", name, err)
		}
		if diff := cmp.Diff(testChunks[:wantChunks], got); diff != "" {
			t.Errorf("%s: chunks (-want +got):\n%s", name, diff)
		}
		if at, torn := r.Torn(); torn != wantTorn || torn && at != int64(before) {
			t.Errorf("%s: torn %v at %d", name, torn, at)
		}
		if _, err := r.Next(); !errors.Is(err, io.EOF) {
			t.Errorf("%s: after the end: %v", name, err)
		}
	}
	read("whole", whole, 4, false)
	for cut := before; cut < len(whole); cut++ {
		read(fmt.Sprintf("cut at %d", cut), whole[:cut], 3, cut > before)
		zeroed := append(append([]byte{}, whole[:cut]...), make([]byte, len(whole)-cut+5000)...)
		// A last byte that is zero anyway leaves the record whole; here the
		// zeros after it are what is torn.
		if bytes.Equal(zeroed[:len(whole)], whole) {
			continue
		}
		read(fmt.Sprintf("zeros from %d", cut), zeroed, 3, true)
	}
}

func TestCaptureDamage(t *testing.T) {
	whole := writeCapture(t, testInfo, testChunks)
	first := len(writeCapture(t, testInfo, nil))
	second := len(writeCapture(t, testInfo, testChunks[:1]))
	record := func(body []byte) []byte {
		b := binary.LittleEndian.AppendUint32(nil, uint32(len(body)))
		b = append(b, body...)
		return binary.LittleEndian.AppendUint32(b, crc32.Checksum(b, castagnoli))
	}
	change := func(at int, to byte) []byte {
		b := append([]byte{}, whole...)
		b[at] = to
		return b
	}
	head := whole[:first]
	tests := []struct {
		name   string
		data   []byte
		chunks int
		want   string
	}{
		{"empty", nil, 0, "so it is no capture; read it as plain bytes"},
		{"other file", []byte("$PLRK,7,1,2,3\r\n"), 0, "so it is no capture"},
		{"newer version", change(8, 3), 0, "its version is 3, and this padlark reads version 2; use the padlark that wrote it"},
		{"header cut", whole[:first-1], 0, "ends inside its header"},
		{"header cut early", whole[:10], 0, "ends inside its header"},
		{"description too long", change(13, 0xFF), 0, "description is too long"},
		{"header changed", change(20, '!'), 0, "its checksum is wrong); take another copy"},
		{"byte changed in the middle", change(second+20, '!'), 1, fmt.Sprintf("at byte %d: a record's checksum is wrong; the file is damaged from there on", second)},
		{"length too small", change(first, 3), 0, "a record of 3 bytes cannot be"},
		{"length too large", change(first+2, 0xFF), 0, "cannot be"},
		{"unknown link", append(append([]byte{}, head...), record([]byte{9, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0})...), 0, "of link 9, and the header has 2"},
		{"no room for peer", append(append([]byte{}, head...), record([]byte{1, 0, 0, 5, 0, 0, 0, 0, 0, 0, 0, 0, 'a'})...), 0, "shorter than its fields"},
		{"no room for rssi", append(append([]byte{}, head...), record([]byte{1, 0, flagRSSI, 0, 0, 0, 0, 0, 0, 0, 0, 0, 'a'})...), 0, "shorter than its fields"},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			var chunks []Chunk
			r, err := NewCaptureReader(bytes.NewReader(tc.data))
			if err == nil {
				chunks, err = readChunks(r)
			}
			if err == nil || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("got %v, want it to say %q", err, tc.want)
			}
			if len(chunks) != tc.chunks {
				t.Errorf("%d chunks, want %d", len(chunks), tc.chunks)
			}
		})
	}
}

// The frames of a journal come back as they were, notes between them, and a
// receiver hands them on without framing them again.
func TestCaptureFrames(t *testing.T) {
	data, err := AppendCaptureHeader(nil, testInfo)
	if err != nil {
		t.Fatal(err)
	}
	frames := []Frame{
		{N: 1, Mono: 5, Passed: 5, Wire: 24, Baud: 300, Bytes: []byte{1, 0, 2}},
		{N: 300, Mono: 1 << 50, Passed: 1<<50 + 1_000_000, Wire: 1 << 20, RSSI: ptr(-71.5), Baud: 9600, Bytes: []byte{}},
	}
	data = AppendFrame(data, 1, testInfo.Links[1].Baud, &frames[0])
	data = AppendNote(data, 'E', 77, []byte(`{"kind":"liftoff"}`))
	middle := int64(len(data))
	data = AppendFrame(data, 0, testInfo.Links[0].Baud, &frames[1])
	r, err := NewCaptureReader(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	one, err1 := r.NextRecord()
	want := Chunk{Link: testInfo.Links[1].Name, Baud: 300, Heard: 5, Bytes: []byte{1, 0, 2}, Framed: Framed{N: 1, Passed: 5, Wire: 24}}
	if diff := cmp.Diff(want, one.Chunk); err1 != nil || diff != "" {
		t.Errorf("%v, first frame (-want +got):\n%s", err1, diff)
	}
	note, err2 := r.NextRecord()
	if err2 != nil || note.Note != 'E' || string(note.Text) != `{"kind":"liftoff"}` || note.Chunk.Heard != 77 {
		t.Errorf("%v, note %+v", err2, note)
	}
	// From the middle, as whoever follows a growing file.
	r.GoOn(bytes.NewReader(data[middle:]), middle)
	two, err3 := r.Next()
	if err3 != nil || two.Framed != (Framed{N: 300, Passed: 1<<50 + 1_000_000, Wire: 1 << 20}) || *two.RSSI != -71.5 || len(two.Bytes) != 0 {
		t.Errorf("%v, second frame %+v", err3, two)
	}
	if _, err := r.Next(); !errors.Is(err, io.EOF) || r.Pos() != int64(len(data)) {
		t.Errorf("%v at %d, want the end at %d", err, r.Pos(), len(data))
	}
	rec, err := NewReceiver(LinkConfig{Name: "wifi", UDP: ":9750"}, Framing{Kind: FramingDatagram}, Env{Clock: NewVirtualClock(testInfo.Epoch).Clock()})
	if err != nil {
		t.Fatal(err)
	}
	var got []Frame
	if err := rec.Push(want, func(f Frame) error { got = append(got, f); return nil }); err != nil {
		t.Fatal(err)
	}
	if len(got) != 1 || got[0].Passed != 5 || got[0].Wire != 24 || !bytes.Equal(got[0].Bytes, want.Bytes) {
		t.Errorf("handed on: %+v", got)
	}
}

// limited is a disk that gets full.
type limited struct{ room int }

var errFull = errors.New("no space left")

func (l *limited) Write(p []byte) (int, error) {
	n := min(len(p), l.room)
	l.room -= n
	if n < len(p) {
		return n, errFull
	}
	return n, nil
}

func TestCaptureWriterErrors(t *testing.T) {
	w, err := NewCaptureWriter(&limited{1000}, testInfo)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.WriteChunk(Chunk{Link: "other"}); err == nil || !strings.Contains(err.Error(), `link "other" is not in its description`) {
		t.Errorf("unknown link: %v", err)
	}
	if err := w.WriteChunk(Chunk{Link: "wifi", Bytes: make([]byte, 65537)}); err == nil {
		t.Error("a chunk that is too long was taken")
	}
	if err := w.WriteChunk(Chunk{Link: "wifi", Bytes: make([]byte, 2000)}); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if err := w.Flush(); !errors.Is(err, errFull) {
			t.Errorf("flush to a full disk: %v", err)
		}
		if err := w.WriteChunk(Chunk{Link: "wifi"}); !errors.Is(err, errFull) {
			t.Errorf("after a failure: %v", err)
		}
	}
	twice := CaptureInfo{Links: []CaptureLink{{Name: "a"}, {Name: "a"}}}
	if _, err := NewCaptureWriter(io.Discard, twice); err == nil {
		t.Error("a link that is named twice was taken")
	}
}

func TestMerge(t *testing.T) {
	later := testInfo
	later.Epoch = testInfo.Epoch.Add(2 * time.Millisecond)
	later.Links = []CaptureLink{{Name: "wifi", Kind: "udp"}, {Name: "gate", Kind: "tcp"}}
	at := func(link string, ms int, b byte) Chunk {
		return Chunk{Link: link, Heard: time.Duration(ms) * time.Millisecond, Bytes: []byte{b}}
	}
	a := writeCapture(t, testInfo, []Chunk{at("wifi", 3, 1), at("pad-radio", 2, 2), at("pad-radio", 9, 3), at("wifi", 4, 4)})
	b := writeCapture(t, later, []Chunk{at("gate", 0, 5), at("wifi", 5, 6), at("gate", 20, 7)})
	open := func(data []byte) *CaptureReader {
		r, err := NewCaptureReader(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	m := newMerge(open(a), open(b))
	if !m.Epoch().Equal(testInfo.Epoch) {
		t.Errorf("epoch %v, want the earliest, %v", m.Epoch(), testInfo.Epoch)
	}
	var names []string
	for _, l := range m.Links() {
		names = append(names, l.Name)
	}
	if diff := cmp.Diff([]string{"pad-radio", "wifi", "gate"}, names); diff != "" {
		t.Errorf("links (-want +got):\n%s", diff)
	}
	chunks, err := readChunks(m)
	if !errors.Is(err, io.EOF) {
		t.Fatal(err)
	}
	var got []string
	for _, c := range chunks {
		got = append(got, fmt.Sprintf("%s %v %d", c.Link, c.Heard, c.Bytes[0]))
	}
	want := []string{"pad-radio 2ms 2", "gate 2ms 5", "wifi 3ms 1", "wifi 4ms 4", "wifi 7ms 6", "pad-radio 9ms 3", "gate 22ms 7"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("order (-want +got):\n%s", diff)
	}
	if m.Torn() {
		t.Error("torn")
	}

	// Damage in one capture comes out after everything that could be read.
	a[len(a)-30] ^= 0xFF
	m = newMerge(open(append(a, 1, 2, 3)), open(b))
	chunks, err = readChunks(m)
	if err == nil || errors.Is(err, io.EOF) || !strings.Contains(err.Error(), "damaged") {
		t.Errorf("damaged: %v", err)
	}
	if len(chunks) < 5 {
		t.Errorf("damaged: only %d chunks", len(chunks))
	}
	if m = newMerge(open(a[:len(a)-1]), open(b)); m.Torn() {
		t.Error("torn before the end")
	}
}

func TestOpenCaptures(t *testing.T) {
	dir := t.TempDir()
	good := filepath.Join(dir, "a.capture")
	bad := filepath.Join(dir, "b.capture")
	if err := os.WriteFile(good, writeCapture(t, testInfo, testChunks), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(bad, []byte("hello"), 0o600); err != nil {
		t.Fatal(err)
	}
	m, err := OpenCaptures(good)
	if err != nil {
		t.Fatal(err)
	}
	if chunks, err := readChunks(m); !errors.Is(err, io.EOF) || len(chunks) != len(testChunks) {
		t.Errorf("%d chunks and %v", len(chunks), err)
	}
	if err := m.Close(); err != nil {
		t.Error(err)
	}
	if _, err := OpenCaptures(good, bad); err == nil || !strings.Contains(err.Error(), "b.capture") {
		t.Errorf("bad file: %v", err)
	}
	if _, err := OpenCaptures(filepath.Join(dir, "none")); err == nil {
		t.Error("a missing file was opened")
	}
}
