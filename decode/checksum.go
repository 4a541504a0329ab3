package decode

import (
	"hash/crc32"
	"math/bits"
	"slices"
	"strings"
)

// A sum is one checksum algorithm.
type sum struct {
	name  string
	bytes int // how many bytes it takes: 1, 2 or 4
	calc  func(b []byte) uint32
}

// crcModel holds the parameters of a CRC in the terms of the "Catalogue of
// parametrised CRC algorithms" (G. Cook): width, polynomial, initial value,
// whether bits are reflected (in and out agree in all of ours) and the final
// exclusive or.
type crcModel struct {
	width   int
	poly    uint32
	init    uint32
	reflect bool
	xorout  uint32
}

// sumKind is a checksum whose table is made when somebody wants it.
type sumKind struct {
	name  string
	bytes int
	make  func() func([]byte) uint32
}

// sums lists every checksum that a layout may name. The names of the CRCs are
// the catalogue's.
func sums() []sumKind {
	plain := func(calc func([]byte) uint32) func() func([]byte) uint32 {
		return func() func([]byte) uint32 { return calc }
	}
	crc := func(name string, m crcModel) sumKind {
		return sumKind{name, m.width / 8, func() func([]byte) uint32 { return crcSum(m) }}
	}
	return []sumKind{
		{"sum8", 1, plain(sum8)},
		{"xor8", 1, plain(xor8)},
		{"Fletcher-16", 2, plain(fletcher16)},
		crc("CRC-8/SMBUS", crcModel{8, 0x07, 0, false, 0}),
		crc("CRC-16/IBM-3740", crcModel{16, 0x1021, 0xffff, false, 0}),
		crc("CRC-16/XMODEM", crcModel{16, 0x1021, 0, false, 0}),
		crc("CRC-16/KERMIT", crcModel{16, 0x1021, 0, true, 0}),
		crc("CRC-16/IBM-SDLC", crcModel{16, 0x1021, 0xffff, true, 0xffff}),
		crc("CRC-16/MODBUS", crcModel{16, 0x8005, 0xffff, true, 0}),
		crc("CRC-16/ARC", crcModel{16, 0x8005, 0, true, 0}),
		crc("CRC-16/SPI-FUJITSU", crcModel{16, 0x1021, 0x1d0f, false, 0}),
		crc("CRC-16/MCRF4XX", crcModel{16, 0x1021, 0xffff, true, 0}),
		crc("CRC-16/GENIBUS", crcModel{16, 0x1021, 0xffff, false, 0xffff}),
		{"CRC-32/ISO-HDLC", 4, plain(crc32.ChecksumIEEE)},
		{"CRC-32/ISCSI", 4, castagnoli},
	}
}

// ChecksumNames lists the checksums that a layout may name.
func ChecksumNames() []string {
	var names []string
	for _, s := range sums() {
		names = append(names, s.name)
	}
	return names
}

// SumFunc computes a checksum by its name, and says how many bytes it takes; nil
// and 0 for a name that is not known. It may make a table: keep it.
func SumFunc(name string) (calc func(b []byte) uint32, size int) {
	s, _ := findSum(name)
	return s.calc, s.bytes
}

// findSum looks a checksum up by its catalogue name; case does not matter.
// Two names in daily use are accepted as well: CRC-32 and CRC-32C.
func findSum(name string) (sum, bool) {
	switch {
	case strings.EqualFold(name, "CRC-32C"):
		name = "CRC-32/ISCSI"
	case strings.EqualFold(name, "CRC-32"):
		name = "CRC-32/ISO-HDLC"
	}
	all := sums()
	i := slices.IndexFunc(all, func(s sumKind) bool { return strings.EqualFold(s.name, name) })
	if i < 0 {
		return sum{}, false
	}
	return sum{all[i].name, all[i].bytes, all[i].make()}, true
}

// sum8 is the sum of the bytes modulo 256.
func sum8(b []byte) uint32 {
	var s uint8
	for _, c := range b {
		s += c
	}
	return uint32(s)
}

// fletcher16 is Fletcher's checksum with modulus 255 (Fletcher, IEEE Trans.
// Comm. COM-30, 1982): the second sum is the high byte.
func fletcher16(b []byte) uint32 {
	var lo, hi uint32
	for len(b) > 0 {
		// 4000 steps cannot overflow 32 bits: 255*4000^2/2 < 2^32.
		n := min(len(b), 4000)
		for _, c := range b[:n] {
			lo += uint32(c)
			hi += lo
		}
		lo %= 255
		hi %= 255
		b = b[n:]
	}
	return hi<<8 | lo
}

func castagnoli() func([]byte) uint32 {
	table := crc32.MakeTable(crc32.Castagnoli)
	return func(b []byte) uint32 { return crc32.Checksum(b, table) }
}

// crcSum builds the table-driven form of a CRC of 8 or 16 bits.
func crcSum(m crcModel) func([]byte) uint32 {
	var table [256]uint32
	mask := uint32(1)<<m.width - 1
	for i := range table {
		table[i] = crcByte(uint32(i), m)
	}
	first, last := m.init, m.xorout
	if m.reflect {
		first = bits.Reverse32(m.init) >> (32 - m.width)
		return func(b []byte) uint32 {
			r := first
			for _, c := range b {
				r = r>>8 ^ table[byte(r)^c]
			}
			return (r ^ last) & mask
		}
	}
	shift := m.width - 8
	return func(b []byte) uint32 {
		r := first
		for _, c := range b {
			r = (r<<8 ^ table[byte(r>>shift)^c]) & mask
		}
		return r ^ last
	}
}

// crcByte divides one byte by the polynomial, bit by bit.
func crcByte(b uint32, m crcModel) uint32 {
	mask := uint32(1)<<m.width - 1
	if m.reflect {
		poly := bits.Reverse32(m.poly) >> (32 - m.width)
		for range 8 {
			if b&1 != 0 {
				b = b>>1 ^ poly
			} else {
				b >>= 1
			}
		}
		return b
	}
	b <<= m.width - 8
	for range 8 {
		top := b>>(m.width-1)&1 != 0
		b = b << 1 & mask
		if top {
			b ^= m.poly
		}
	}
	return b
}
