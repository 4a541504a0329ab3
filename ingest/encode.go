package ingest

import (
	"bytes"
	"errors"
	"fmt"
)

// The encoders append the framed message to dst and return it, as append
// does. They are for simulated boards and for tests: a station only listens.

// encodeLine ends a text message as ends says ("" and "any" write CR LF). The
// message must not hold a byte that would end the line early.
func encodeLine(dst, msg []byte, ends string) ([]byte, error) {
	end, forbidden := "\r\n", "\r\n"
	switch ends {
	case "", "any":
	case "crlf":
		forbidden = "\n"
	case "lf":
		end, forbidden = "\n", "\n"
	case "cr":
		end, forbidden = "\r", "\r"
	default:
		return dst, fmt.Errorf("encode line: line end %q is not known", ends)
	}
	if i := bytes.IndexAny(msg, forbidden); i >= 0 {
		return dst, fmt.Errorf("encode line: byte %d of the message is 0x%02X, which ends a line", i, msg[i])
	}
	return append(append(dst, msg...), end...), nil
}

// EncodeCOBS stuffs the message and ends it with 0x00.
//
// S. Cheshire and M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM
// Transactions on Networking 7(2), April 1999: the message with one 0x00 put
// after it is cut into blocks that end at a zero; each is sent as its length,
// then its bytes without the zero. A block of 254 bytes without a zero is sent
// as 0xFF and stands for no zero.
func EncodeCOBS(dst, msg []byte) []byte {
	for {
		i := bytes.IndexByte(msg, 0)
		last := i < 0
		if last {
			i = len(msg)
		}
		block := msg[:i]
		for len(block) >= 254 {
			dst = append(append(dst, 0xFF), block[:254]...)
			block = block[254:]
			if last && len(block) == 0 {
				// The end of the message falls on a full block, which stands
				// for no zero: no further block is needed.
				return append(dst, 0)
			}
		}
		dst = append(append(dst, byte(len(block)+1)), block...)
		if last {
			return append(dst, 0)
		}
		msg = msg[i+1:]
	}
}

// The special bytes of SLIP (RFC 1055, June 1988). KISS uses the same.
const (
	slipEnd    = 0xC0
	slipEsc    = 0xDB
	slipEscEnd = 0xDC
	slipEscEsc = 0xDD
)

// EncodeSLIP stuffs the message between two END bytes: the one before it ends
// whatever noise came first.
func EncodeSLIP(dst, msg []byte) []byte {
	return append(appendStuffed(append(dst, slipEnd), msg), slipEnd)
}

func appendStuffed(dst, msg []byte) []byte {
	for _, b := range msg {
		switch b {
		case slipEnd:
			dst = append(dst, slipEsc, slipEscEnd)
		case slipEsc:
			dst = append(dst, slipEsc, slipEscEsc)
		default:
			dst = append(dst, b)
		}
	}
	return dst
}

// EncodeKISS makes the frame that a TNC sends to its host: FEND, a type byte
// with port (0 to 15) and command (0 is data), the stuffed message, FEND.
//
// M. Chepponis K3MC and P. Karn KA9Q, "The KISS TNC", 1987.
func EncodeKISS(dst []byte, port, command int, msg []byte) []byte {
	dst = appendStuffed(append(dst, slipEnd), []byte{byte(port<<4 | command&0x0F)})
	return append(appendStuffed(dst, msg), slipEnd)
}

// encodeSync puts the sync word before the message, unless the framing keeps
// it on the message, in which case it must be there. The message must hold the
// right length already: SetLength writes it, before a checksum is computed.
func encodeSync(dst, msg []byte, f Framing) ([]byte, error) {
	s, err := newSyncMachine(f, maxFrameLimit)
	if err != nil {
		return dst, err
	}
	body := msg
	if f.KeepSync {
		if !bytes.HasPrefix(msg, s.word) {
			return dst, fmt.Errorf("encode sync: the message does not begin with its sync word %X", s.word)
		}
		body = msg[len(s.word):]
	}
	n, known := s.bodyLength(body)
	switch {
	case !known || n != len(body):
		return dst, fmt.Errorf("encode sync: the message has %d bytes after its sync word, its framing says %d", len(body), n)
	case !s.lengthAgrees(body):
		return dst, errors.New("encode sync: the two length fields of the message differ")
	}
	return append(append(dst, s.word...), body...), nil
}

// SetLength writes the length field (or both) of a message for kind "sync"
// into their places in msg, so that a checksum over them can then be computed.
// It does nothing for framings without a length field.
func (f Framing) SetLength(msg []byte) error {
	if f.Kind != FramingSync || f.LengthBytes == 0 {
		return nil
	}
	s, err := newSyncMachine(f, maxFrameLimit)
	if err != nil {
		return err
	}
	body := msg
	if f.KeepSync {
		body = msg[min(len(s.word), len(msg)):]
	}
	return s.putLength(body)
}

// Encode appends the message as the framing sends it (KISS: as data of the
// configured port, or 0).
func (f Framing) Encode(dst, msg []byte) ([]byte, error) {
	switch f.Kind {
	case FramingLine:
		return encodeLine(dst, msg, f.Ends)
	case FramingCOBS:
		return EncodeCOBS(dst, msg), nil
	case FramingSLIP:
		return EncodeSLIP(dst, msg), nil
	case FramingKISS:
		port := 0
		if f.Port != nil {
			port = *f.Port
		}
		return EncodeKISS(dst, port, 0, msg), nil
	case FramingSync:
		return encodeSync(dst, msg, f)
	case FramingDatagram:
		return append(dst, msg...), nil
	case FramingBeeps:
		return dst, framingError("kind", quote(f.Kind), "is heard and not sent", "take another framing for a board that is to be simulated")
	}
	return dst, f.Validate()
}
