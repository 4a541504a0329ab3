package ingest

import (
	"bufio"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"math"
	"os"
	"sync"
	"time"
)

// A capture keeps every chunk of every link with the time at which it was
// heard, so that a day in the field can be heard again at home. All numbers
// are little-endian.
//
//	offset  bytes  header
//	     0      8  magic "PLARKCAP"
//	     8      2  version, 1
//	    10      4  length n of the description
//	    14      n  description: CaptureInfo as JSON
//	  14+n      4  CRC-32C over all of the above
//
//	offset  bytes  record, one for each chunk
//	     0      4  length n of the record's body
//	     4      2  link, an index into the description's list
//	     6      1  flags: 1 datagram, 2 has RSSI, 4 end whole, 8 end cut
//	     7      1  length p of the peer's name
//	     8      8  heard, ns since the epoch
//	    16    0|8  RSSI in dBm, IEEE 754 binary64, if flagged
//	           p   peer
//	               bytes, the rest of the body
//	   4+n      4  CRC-32C over length and body
//
// A file that ends inside a record, or in zeros where a record should be, was
// torn by a crash or a power cut: it ends at the last whole record.
const (
	captureMagic   = "PLARKCAP"
	captureVersion = 1

	captureFixed   = 12 // body bytes before RSSI and peer
	captureMaxBody = captureFixed + 8 + 255 + 65536
	captureMaxInfo = 1 << 20

	flagDatagram = 1
	flagRSSI     = 2
	flagWhole    = 4
	flagCut      = 8
)

// castagnoli is the polynomial of CRC-32C, 0x1EDC6F41 (Castagnoli 1993).
var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// CaptureInfo describes a capture.
type CaptureInfo struct {
	// Station is who recorded it.
	Station string `json:"station"`
	// Epoch is the moment (UTC) from which the times count.
	Epoch time.Time `json:"epoch"`
	// Links are those whose chunks it can hold.
	Links []CaptureLink `json:"links"`
}

// CaptureLink is one link of a capture.
type CaptureLink struct {
	Name string `json:"name"`
	Kind string `json:"kind"`
	Baud int    `json:"baud,omitempty"`
	// Layout is the name of the layout in effect, for the reader's information.
	Layout string `json:"layout,omitempty"`
}

// CaptureLinks is the description of configured links.
func CaptureLinks(links []LinkConfig) []CaptureLink {
	out := make([]CaptureLink, len(links))
	for i, l := range links {
		out[i] = CaptureLink{Name: l.Name, Kind: l.Kind(), Baud: l.Baud, Layout: l.Layout}
	}
	return out
}

func (i CaptureInfo) names() []string {
	names := make([]string, len(i.Links))
	for n, l := range i.Links {
		names[n] = l.Name
	}
	return names
}

// pickLink is which link of the capture a link called name reads: the one
// wanted, or its namesake, or the only one.
func (i CaptureInfo) pickLink(name, wanted string) (string, error) {
	switch {
	case wanted != "" && !oneOf(wanted, i.names()...):
		return "", fmt.Errorf("the capture has no link %q: correct capture_link; it has %q", wanted, i.names())
	case wanted != "":
		return wanted, nil
	case oneOf(name, i.names()...):
		return name, nil
	case len(i.Links) == 1:
		return i.Links[0].Name, nil
	}
	return "", fmt.Errorf("the capture has no link %q: say with capture_link which to read; it has %q", name, i.names())
}

// CaptureWriter writes a capture. It is safe for concurrent use.
type CaptureWriter struct {
	mu    sync.Mutex
	w     *bufio.Writer
	file  *os.File // nil if made by NewCaptureWriter
	index map[string]uint16
	buf   []byte
	err   error // the first failure; nothing is written after it
}

// CreateCapture makes a new file; it does not overwrite one.
func CreateCapture(path string, info CaptureInfo) (*CaptureWriter, error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return nil, fmt.Errorf("create capture: %s exists already: move it away, or give another name", path)
	}
	if err != nil {
		return nil, fmt.Errorf("create capture: %w", err)
	}
	w, err := NewCaptureWriter(f, info)
	if err == nil {
		err = w.Flush() // a file without its header would be no capture
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	w.file = f
	return w, nil
}

// NewCaptureWriter writes a capture to w, the header first. It holds up to
// 64 KiB back until Flush.
func NewCaptureWriter(w io.Writer, info CaptureInfo) (*CaptureWriter, error) {
	info.Epoch = info.Epoch.UTC().Round(0)
	if len(info.Links) > math.MaxUint16 {
		return nil, fmt.Errorf("write capture: %d links are too many", len(info.Links))
	}
	text, err := json.Marshal(info)
	if err != nil {
		return nil, fmt.Errorf("write capture: %w", err)
	}
	if len(text) > captureMaxInfo {
		return nil, fmt.Errorf("write capture: its description has %d bytes, over %d", len(text), captureMaxInfo)
	}
	c := &CaptureWriter{w: bufio.NewWriterSize(w, 65536), index: map[string]uint16{}}
	for i, l := range info.Links {
		if _, twice := c.index[l.Name]; twice {
			return nil, fmt.Errorf("write capture: link %q is named twice", l.Name)
		}
		c.index[l.Name] = uint16(i)
	}
	head := append([]byte(captureMagic), 0, 0, 0, 0, 0, 0)
	binary.LittleEndian.PutUint16(head[8:], captureVersion)
	binary.LittleEndian.PutUint32(head[10:], uint32(len(text)))
	head = append(head, text...)
	head = binary.LittleEndian.AppendUint32(head, crc32.Checksum(head, castagnoli))
	if _, err := c.w.Write(head); err != nil {
		return nil, fmt.Errorf("write capture: %w", err)
	}
	return c, nil
}

// WriteChunk adds a chunk. After a failure, such as a full disk, it writes no
// more and returns that failure each time.
func (c *CaptureWriter) WriteChunk(k Chunk) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.err != nil {
		return c.err
	}
	link, known := c.index[k.Link]
	switch {
	case !known:
		return fmt.Errorf("write capture: link %q is not in its description", k.Link)
	case len(k.Bytes) > 65536:
		return fmt.Errorf("write capture: a chunk of %d bytes is over 65536", len(k.Bytes))
	}
	c.buf = appendRecord(c.buf[:0], link, k)
	if _, err := c.w.Write(c.buf); err != nil {
		c.err = fmt.Errorf("write capture: %w", err)
	}
	return c.err
}

func appendRecord(b []byte, link uint16, k Chunk) []byte {
	peer := k.Peer[:min(len(k.Peer), 255)]
	var flags byte
	if k.Datagram {
		flags |= flagDatagram
	}
	if k.RSSI != nil {
		flags |= flagRSSI
	}
	switch k.End {
	case EndWhole:
		flags |= flagWhole
	case EndCut:
		flags |= flagCut
	}
	le := binary.LittleEndian
	b = append(b, 0, 0, 0, 0)
	b = append(le.AppendUint16(b, link), flags, byte(len(peer)))
	b = le.AppendUint64(b, uint64(k.Heard))
	if k.RSSI != nil {
		b = le.AppendUint64(b, math.Float64bits(*k.RSSI))
	}
	b = append(append(b, peer...), k.Bytes...)
	le.PutUint32(b, uint32(len(b)-4))
	return le.AppendUint32(b, crc32.Checksum(b, castagnoli))
}

// Flush hands everything written so far to the system. Its owner calls it at
// least every half second, so that a crash costs no more than that.
func (c *CaptureWriter) Flush() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.err != nil {
		return c.err
	}
	if err := c.w.Flush(); err != nil {
		c.err = fmt.Errorf("write capture: %w", err)
	}
	return c.err
}

// Close flushes, and if the file was made by CreateCapture, puts it on the
// disk and closes it.
func (c *CaptureWriter) Close() error {
	err := c.Flush()
	if c.file == nil {
		return err
	}
	if err == nil {
		err = c.file.Sync()
	}
	return errors.Join(err, c.file.Close())
}
