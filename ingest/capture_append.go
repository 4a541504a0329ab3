package ingest

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"hash/crc32"
	"math"
	"time"
)

// castagnoli is the polynomial of CRC-32C, 0x1EDC6F41 (Castagnoli 1993).
var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// AppendCaptureHeader appends the header of a capture to b. The error says what
// is wrong with the description.
func AppendCaptureHeader(b []byte, info CaptureInfo) ([]byte, error) {
	info.Epoch = info.Epoch.UTC().Round(0)
	if len(info.Links) > math.MaxUint16 {
		return nil, fmt.Errorf("write capture: %d links are too many", len(info.Links))
	}
	seen := make(map[string]bool, len(info.Links))
	for _, l := range info.Links {
		if seen[l.Name] {
			return nil, fmt.Errorf("write capture: link %q is named twice", l.Name)
		}
		seen[l.Name] = true
	}
	text, err := json.Marshal(info)
	if err != nil {
		return nil, fmt.Errorf("write capture: %w", err)
	}
	if len(text) > captureMaxInfo {
		return nil, fmt.Errorf("write capture: its description has %d bytes, over %d", len(text), captureMaxInfo)
	}
	start := len(b)
	b = append(b, captureMagic...)
	b = binary.LittleEndian.AppendUint16(b, captureVersion)
	b = binary.LittleEndian.AppendUint32(b, uint32(len(text)))
	b = append(b, text...)
	return binary.LittleEndian.AppendUint32(b, crc32.Checksum(b[start:], castagnoli)), nil
}

// appendChunk appends the record of a chunk, or of a frame. link is its place in
// the description, and baud what that says of its rate.
func appendChunk(b []byte, link uint16, baud int, k Chunk) []byte {
	if k.Framed.N > 0 {
		return AppendFrame(b, link, baud, &Frame{
			N: k.Framed.N, Mono: int64(k.Heard), Passed: int64(k.Framed.Passed), Wire: k.Framed.Wire, Baud: k.Baud, RSSI: k.RSSI, Bytes: k.Bytes,
		})
	}
	peer := k.Peer[:min(len(k.Peer), math.MaxUint8)]
	var flags byte
	if k.Datagram {
		flags |= flagDatagram
	}
	switch k.End {
	case EndWhole:
		flags |= flagWhole
	case EndCut:
		flags |= flagCut
	}
	start := len(b)
	b = appendFixed(b, link, flags, byte(len(peer)), k.Heard, k.RSSI)
	b = append(append(b, peer...), k.Bytes...)
	return closeRecord(b, start)
}

// AppendFrame appends the record of a frame that has passed the sequencer. link
// is its link's place in the description, and baud what that says of its rate.
func AppendFrame(b []byte, link uint16, baud int, f *Frame) []byte {
	start := len(b)
	flags := byte(flagFrame)
	if f.Baud != baud {
		flags |= flagBaud
	}
	b = appendFixed(b, link, flags, 0, time.Duration(f.Mono), f.RSSI)
	if f.Baud != baud {
		b = binary.AppendUvarint(b, uint64(f.Baud))
	}
	b = binary.AppendUvarint(b, f.N)
	b = binary.AppendUvarint(b, uint64(f.Passed-f.Mono))
	b = binary.AppendUvarint(b, uint64(f.Wire))
	return closeRecord(append(b, f.Bytes...), start)
}

// AppendNote appends the record of a note of some kind, a letter: what the
// station made at that time of what stands before it.
func AppendNote(b []byte, kind byte, at time.Duration, text []byte) []byte {
	start := len(b)
	b = appendFixed(b, 0, flagNote, kind, at, nil)
	return closeRecord(append(b, text...), start)
}

// appendFixed begins a record; its length comes with closeRecord.
func appendFixed(b []byte, link uint16, flags, peer byte, heard time.Duration, rssi *float64) []byte {
	le := binary.LittleEndian
	if rssi != nil {
		flags |= flagRSSI
	}
	b = append(b, 0, 0, 0, 0)
	b = append(le.AppendUint16(b, link), flags, peer)
	b = le.AppendUint64(b, uint64(heard))
	if rssi != nil {
		b = le.AppendUint64(b, math.Float64bits(*rssi))
	}
	return b
}

func closeRecord(b []byte, start int) []byte {
	binary.LittleEndian.PutUint32(b[start:], uint32(len(b)-start-4))
	return binary.LittleEndian.AppendUint32(b, crc32.Checksum(b[start:], castagnoli))
}
