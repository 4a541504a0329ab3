package decode

import (
	"encoding/binary"
	"fmt"
	"slices"
)

// A space packet (CCSDS 133.0-B-2) is, big-endian:
//
//	| version 3 = 0 | type 1 | secondary header 1 | APID 11 |
//	| sequence flags 2 | sequence count 14 |
//	| data length 16 = bytes that follow - 1 |
//	| secondary header | user data | (error control) |
//
// Type 0 is telemetry. Sequence flags 3 is a packet that is whole by itself.
// APID 7FF is the idle packet.

const (
	packetHeader    = 6
	packetIdle      = 0x7ff
	packetWhole     = 3
	packetCountWrap = 1 << 14
)

// packetForm is the compiled part of a layout that spacepacket needs.
type packetForm struct {
	apids      []int
	rocketAPID bool
	secondary  int
	ownSeq     bool // the inner layout has no seq: the packet's count is it
}

func (p *Program) parsePacket(b []byte, base int, sc *scratch, m *ident) *Reject {
	if len(b) < packetHeader+1 {
		return p.reject(Corrupt, ReasonLength, "", base+len(b), fmt.Sprintf("%d bytes are too few for a packet", len(b)))
	}
	if r := p.checkBytes(b, base); r != nil {
		return r
	}
	id, count, size := binary.BigEndian.Uint16(b), binary.BigEndian.Uint16(b[2:]), int(binary.BigEndian.Uint16(b[4:]))+1
	apid := int(id & 0x7ff)
	switch {
	case id>>13 != 0:
		return p.reject(Unknown, ReasonNotOurs, "", base, fmt.Sprintf("packet version %d", id>>13))
	case size != len(b)-packetHeader:
		return p.reject(Corrupt, ReasonLength, "", base+4, fmt.Sprintf("%d bytes of data where the header says %d", len(b)-packetHeader, size))
	case id&0x1000 != 0:
		return p.reject(Unknown, ReasonNotOurs, "", base, "a command packet, not telemetry")
	case apid == packetIdle:
		return p.reject(Unknown, ReasonNotOurs, "", base, "an idle packet")
	case len(p.packet.apids) > 0 && !slices.Contains(p.packet.apids, apid):
		return p.reject(Unknown, ReasonNotOurs, "", base, fmt.Sprintf("APID %d (0x%03x)", apid, apid))
	case count>>14 != packetWhole:
		return p.reject(Unknown, ReasonNotOurs, "", base+2, "a piece of a segmented packet; pieces are not put together")
	}
	end := len(b)
	if p.check != nil && p.check.at == -p.check.sum.bytes {
		end -= p.check.sum.bytes
	}
	start := packetHeader + p.packet.secondary
	if start > end {
		return p.reject(Corrupt, ReasonLength, "", base+end, "the packet ends within its secondary header")
	}
	if p.packet.rocketAPID {
		m.rocket, m.hasRocket = uint32(apid), true
	}
	if p.packet.ownSeq {
		m.seq = float64(count & (packetCountWrap - 1))
	}
	return p.inner.parse(b[start:end], base+start, sc.inner, m)
}

// packetStart writes the primary header, the length still to come, and room
// for the secondary header.
func (p *Program) packetStart(dst []byte, v Message) []byte {
	apid := 0
	if len(p.packet.apids) > 0 {
		apid = p.packet.apids[0]
	}
	if p.packet.rocketAPID {
		apid = int(v.Rocket & 0x7ff)
	}
	id := uint16(apid)
	if p.packet.secondary > 0 {
		id |= 0x800
	}
	dst = binary.BigEndian.AppendUint16(dst, id)
	dst = binary.BigEndian.AppendUint16(dst, packetWhole<<14|uint16(max(v.Seq, 0)%packetCountWrap))
	return append(dst, make([]byte, 2+p.packet.secondary)...)
}
