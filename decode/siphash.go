package decode

import (
	"encoding/binary"
	"math/bits"
)

// SealKind is a check with a key that boards and station share: only who knows
// it can send a frame that is taken. It is SipHash-2-4 (J.-P. Aumasson and D. J.
// Bernstein, "SipHash: a fast short-input PRF", INDOCRYPT 2012) with a key of 16
// bytes, of whose 64 bits the low 32 are sent: one guess in 4 thousand million
// fits. Who records frames can send them again; under the same numbers they say
// the same, and are copies.
const SealKind = "SipHash-2-4/32"

// SealKeySize is how many bytes the key has.
const SealKeySize = 16

// sealSum is the check with a key.
func sealSum(key []byte) sum {
	k0, k1 := binary.LittleEndian.Uint64(key), binary.LittleEndian.Uint64(key[8:])
	return sum{SealKind, 4, func(b []byte) uint32 { return uint32(sipHash(k0, k1, b)) }}
}

// sipHash is SipHash-2-4 of the bytes.
func sipHash(k0, k1 uint64, b []byte) uint64 {
	v0, v1 := k0^0x736f6d6570736575, k1^0x646f72616e646f6d
	v2, v3 := k0^0x6c7967656e657261, k1^0x7465646279746573
	round := func() {
		v0 += v1
		v1 = bits.RotateLeft64(v1, 13) ^ v0
		v0 = bits.RotateLeft64(v0, 32)
		v2 += v3
		v3 = bits.RotateLeft64(v3, 16) ^ v2
		v0 += v3
		v3 = bits.RotateLeft64(v3, 21) ^ v0
		v2 += v1
		v1 = bits.RotateLeft64(v1, 17) ^ v2
		v2 = bits.RotateLeft64(v2, 32)
	}
	last := uint64(len(b)) << 56
	for ; len(b) >= 8; b = b[8:] {
		m := binary.LittleEndian.Uint64(b)
		v3 ^= m
		round()
		round()
		v0 ^= m
	}
	for i, c := range b {
		last |= uint64(c) << (8 * i)
	}
	v3 ^= last
	round()
	round()
	v0 ^= last
	v2 ^= 0xff
	for range 4 {
		round()
	}
	return v0 ^ v1 ^ v2 ^ v3
}
