package decode_test

import (
	"fmt"

	"padlark/decode"
)

// A checksum by its name; 0x29b1 is its check value over "123456789" (CRC
// catalogue of G. Cook, CRC-16/IBM-3740; from memory).
func ExampleSumFunc() {
	sum, size := decode.SumFunc("CRC-16/IBM-3740")
	fmt.Printf("%#x in %d bytes\n", sum([]byte("123456789")), size)
	// Output: 0x29b1 in 2 bytes
}
