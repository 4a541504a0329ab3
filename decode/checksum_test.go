package decode

import (
	"bytes"
	"fmt"
	"hash/crc32"
	"testing"

	"pgregory.net/rapid"
)

// TestChecksumCatalogue checks the check value of each CRC, the CRC of
// "123456789", as the "Catalogue of parametrised CRC algorithms" (G. Cook)
// lists it.
func TestChecksumCatalogue(t *testing.T) {
	for _, c := range []struct {
		name   string
		want   uint32
		source string
	}{
		{"CRC-8/SMBUS", 0xF4, "catalogue, as quoted by the documentation of a library"},
		{"CRC-16/IBM-3740", 0x29B1, "catalogue, as quoted by the documentation of a library"},
		{"CRC-16/XMODEM", 0x31C3, "catalogue, as quoted by the documentation of a library"},
		{"CRC-16/KERMIT", 0x2189, "catalogue, as quoted by the documentation of a library"},
		{"CRC-16/IBM-SDLC", 0x906E, "catalogue, as quoted by the documentation of a library"},
		{"CRC-16/MODBUS", 0x4B37, "catalogue, as quoted by the documentation of a library"},
		{"CRC-16/ARC", 0xBB3D, "catalogue, as quoted by the documentation of a library"},
		{"CRC-16/SPI-FUJITSU", 0xE5CC, "catalogue, as quoted by the documentation of a library"},
		{"CRC-16/MCRF4XX", 0x6F91, "catalogue, from memory"},
		{"CRC-16/GENIBUS", 0xD64E, "catalogue, from memory"},
		{"CRC-32/ISO-HDLC", 0xCBF43926, "catalogue, from memory"},
		{"CRC-32/ISCSI", 0xE3069283, "catalogue, from memory"},
		{"crc-32c", 0xE3069283, "the other name of CRC-32/ISCSI"},
		{"Fletcher-16", 0x1EDE, "computed from the published definition"},
	} {
		s, ok := findSum(c.name)
		if !ok {
			t.Errorf("%s is not known", c.name)
			continue
		}
		if got := s.calc([]byte("123456789")); got != c.want {
			t.Errorf("%s = %X, want %X (%s)", c.name, got, c.want, c.source)
		}
	}
}

// TestChecksumEdges checks further inputs, computed from the catalogue's
// parameters with another implementation.
func TestChecksumEdges(t *testing.T) {
	a256 := string(bytes.Repeat([]byte("A"), 256))
	for _, c := range []struct {
		name, in string
		want     uint32
	}{
		{"CRC-8/SMBUS", "", 0}, {"CRC-16/IBM-3740", "", 0xFFFF}, {"CRC-16/XMODEM", "", 0}, {"CRC-16/KERMIT", "", 0},
		{"CRC-16/IBM-SDLC", "", 0}, {"CRC-16/MODBUS", "", 0xFFFF}, {"CRC-32/ISO-HDLC", "", 0},
		{"CRC-8/SMBUS", a256, 0x8E}, {"CRC-16/IBM-3740", a256, 0xEA0B}, {"CRC-16/XMODEM", a256, 0xABE3},
		{"CRC-16/KERMIT", a256, 0xE7E2}, {"CRC-16/IBM-SDLC", a256, 0x0F9F}, {"CRC-16/MODBUS", a256, 0x31E6},
		{"CRC-32/ISO-HDLC", a256, 0x49975B13},
		{"CRC-16/IBM-3740", "\x00", 0xE1F0}, {"CRC-16/IBM-SDLC", "\x00", 0xF078}, {"CRC-16/MODBUS", "\x00", 0x40BF},
		{"CRC-32/ISO-HDLC", "\x00", 0xD202EF8D},
	} {
		s, _ := findSum(c.name)
		if got := s.calc([]byte(c.in)); got != c.want {
			t.Errorf("%s of %.10q = %X, want %X", c.name, c.in, got, c.want)
		}
	}
}

// TestFletcher16 checks against the examples that accompany the checksum of
// Fletcher, IEEE Trans. Comm. COM-30 (1982): "abcde" from a secondary source,
// "abcdef" and "abcdefgh" from memory, the rest computed.
func TestFletcher16(t *testing.T) {
	for in, want := range map[string]uint32{
		"abcde": 0xC8F0, "abcdef": 0x2057, "abcdefgh": 0x0627, "\x01\x02": 0x0403,
	} {
		if got := fletcher16([]byte(in)); got != want {
			t.Errorf("fletcher16(%q) = %04X, want %04X", in, got, want)
		}
	}
}

// TestFletcherLong shows that the sums do not overflow on long frames.
func TestFletcherLong(t *testing.T) {
	b := bytes.Repeat([]byte{0xFE}, 60000)
	var lo, hi uint64
	for _, c := range b {
		lo = (lo + uint64(c)) % 255
		hi = (hi + lo) % 255
	}
	if got, want := fletcher16(b), uint32(hi<<8|lo); got != want {
		t.Errorf("fletcher16 = %04X, want %04X", got, want)
	}
}

// TestCRCResidue shows the residue F0B8 of CRC-16/IBM-SDLC (RFC 1662): the
// register after data and FCS, before the final exclusive or.
func TestCRCResidue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := rapid.SliceOf(rapid.Byte()).Draw(t, "data")
		s, _ := findSum("CRC-16/IBM-SDLC")
		fcs := s.calc(b)
		if got := s.calc(append(b, byte(fcs), byte(fcs>>8))) ^ 0xFFFF; got != 0xF0B8 {
			t.Fatalf("residue %04X, want F0B8", got)
		}
	})
}

// TestCRCFindsErrors checks the two properties every CRC has: a single burst
// no longer than the CRC is always found, and two messages of one length
// combine linearly.
func TestCRCFindsErrors(t *testing.T) {
	for _, s := range sums() {
		if s.bytes == 1 && s.name != "CRC-8/SMBUS" || s.name == "Fletcher-16" {
			continue
		}
		rapid.Check(t, func(t *rapid.T) {
			b := rapid.SliceOfN(rapid.Byte(), 4, 64).Draw(t, "data")
			burst := rapid.Uint32Range(1, 1<<(8*min(s.bytes, 3))-1).Draw(t, "burst")
			at := rapid.IntRange(0, len(b)-min(s.bytes, 3)).Draw(t, "at")
			bad := bytes.Clone(b)
			for i := range min(s.bytes, 3) {
				bad[at+i] ^= byte(burst >> (8 * i))
			}
			if s.make()(b) == s.make()(bad) {
				t.Fatalf("%s does not see the burst", s.name)
			}
			zero := make([]byte, len(b))
			mixed := make([]byte, len(b))
			for i := range b {
				mixed[i] = b[i] ^ bad[i]
			}
			if s.make()(b)^s.make()(bad)^s.make()(mixed) != s.make()(zero) {
				t.Fatalf("%s is not linear", s.name)
			}
		})
	}
}

// TestCRC32AgainstLibrary compares our bitwise step with the standard library.
func TestCRC32AgainstLibrary(t *testing.T) {
	table := crc32.MakeTable(crc32.IEEE)
	for i := range 256 {
		if got := crcByte(uint32(i), crcModel{32, 0x04C11DB7, 0, true, 0}); got != table[i] {
			t.Fatalf("entry %d: %08X, want %08X", i, got, table[i])
		}
	}
}

func FuzzHexChecksum(f *testing.F) {
	for _, s := range []string{"47", "4G", "", "00000000", "123456789", "fF", "*7", "-1", " 4"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		v, ok := parseHex(b)
		if !ok {
			return
		}
		if got := fmt.Sprintf("%0*X", len(b), v); got != string(bytes.ToUpper(b)) {
			t.Fatalf("parseHex(%q) = %s", b, got)
		}
	})
}
