package ingest

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"sync"
	"time"
)

// A capture keeps what was heard on every link with the time at which it was
// heard, so that a day in the field can be heard again at home: chunks of bytes
// as they came (--capture), or the frames that framing made of them, which is
// the journal of a session. All numbers are little-endian.
//
//	offset  bytes  header
//	     0      8  magic "PLARKCAP"
//	     8      2  version, 2
//	    10      4  length n of the description
//	    14      n  description: CaptureInfo as JSON
//	  14+n      4  CRC-32C over all of the above
//
//	offset  bytes  record, one for each chunk, frame or note
//	     0      4  length n of the record's body
//	     4      2  link, an index into the description's list; 0 in a note
//	     6      1  flags: 1 datagram, 2 has RSSI, 4 end whole, 8 end cut,
//	               16 frame, 32 note, 64 a frame of another rate
//	     7      1  length p of the peer's name; in a note its kind, a letter
//	     8      8  heard, ns since the epoch
//	    16    0|8  RSSI in dBm, IEEE 754 binary64, if flagged
//	           p   peer
//	               of a frame: its rate in bit/s, if flagged, else it is the
//	               link's; its number, its passed less heard in ns, and its
//	               bytes on the wire; each as an unsigned LEB128 varint
//	               bytes, the rest of the body; JSON in a note
//	   4+n      4  CRC-32C over length and body
//
// A frame's bytes are whole: the delimiter and any byte stuffing are gone. The
// notes of a journal say what the station made of the frames before them. One of
// kind C (CaptureChange as JSON) says that from here on the configuration is
// another: its links come behind those of the description.
//
// A file that ends inside a record, or in zeros where a record should be, was
// torn by a crash or a power cut: it ends at the last whole record.
const (
	captureMagic   = "PLARKCAP"
	captureVersion = 2

	captureFixed   = 12 // body bytes before RSSI and peer
	captureMaxBody = captureFixed + 8 + 255 + 4*binary.MaxVarintLen64 + 65536
	captureMaxInfo = 1 << 20

	flagDatagram = 1
	flagRSSI     = 2
	flagWhole    = 4
	flagCut      = 8
	flagFrame    = 16
	flagNote     = 32
	flagBaud     = 64
)

// CaptureInfo describes a capture.
type CaptureInfo struct {
	// Station is who recorded it.
	Station string `json:"station"`
	// Epoch is the moment (UTC) from which the times count.
	Epoch time.Time `json:"epoch"`
	// Links are those whose chunks it can hold.
	Links []CaptureLink `json:"links"`
	// Session, Config and Version are there in a journal: the session's name, the
	// text of its configuration and the version of padlark that wrote it.
	Session string `json:"session,omitempty"`
	Config  string `json:"config,omitempty"`
	Version string `json:"version,omitempty"`
}

// CaptureLink is one link of a capture.
type CaptureLink struct {
	Name string `json:"name"`
	Kind string `json:"kind"`
	Baud int    `json:"baud,omitempty"`
	// Layout is the name of the layout in effect, for the reader's information.
	Layout string `json:"layout,omitempty"`
}

// NoteLeast is how many bytes the record of a note takes besides its text.
const NoteLeast = 4 + captureFixed + 4

// NoteChange is the kind of note that holds a CaptureChange.
const NoteChange = 'C'

// CaptureChange is another configuration from a place of a journal on.
type CaptureChange struct {
	// Config is its text.
	Config string `json:"config"`
	// Links are those that the capture has not had before.
	Links []CaptureLink `json:"links,omitempty"`
}

// Changed is the description behind a change. A link that there is already stays
// what it is.
func (i CaptureInfo) Changed(c CaptureChange) CaptureInfo {
	i.Config, i.Links = c.Config, slices.Clip(i.Links)
	for _, l := range c.Links {
		if !oneOf(l.Name, i.names()...) {
			i.Links = append(i.Links, l)
		}
	}
	return i
}

// CaptureLinks is the description of configured links.
func CaptureLinks(links []LinkConfig) []CaptureLink {
	out := make([]CaptureLink, len(links))
	for i, l := range links {
		out[i] = CaptureLink{Name: l.Name, Kind: l.Kind(), Baud: l.Baud, Layout: l.Layout}
	}
	return out
}

// index maps the names of the links to their places.
func (i CaptureInfo) index() map[string]uint16 {
	out := make(map[string]uint16, len(i.Links))
	for n, l := range i.Links {
		out[l.Name] = uint16(n)
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
	links []CaptureLink
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
	head, err := AppendCaptureHeader(nil, info)
	if err != nil {
		return nil, err
	}
	c := &CaptureWriter{w: bufio.NewWriterSize(w, 65536), index: info.index(), links: info.Links}
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
	c.buf = appendChunk(c.buf[:0], link, c.links[link].Baud, k)
	if _, err := c.w.Write(c.buf); err != nil {
		c.err = fmt.Errorf("write capture: %w", err)
	}
	return c.err
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
