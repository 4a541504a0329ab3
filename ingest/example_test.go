package ingest_test

import (
	"fmt"

	"padlark/ingest"
)

// A message as a board sends it: stuffed, with the delimiter behind it. The bytes
// are an example of Cheshire and Baker, "Consistent Overhead Byte Stuffing" (1999;
// from memory).
func ExampleEncodeCOBS() {
	fmt.Printf("% x\n", ingest.EncodeCOBS(nil, []byte{0x11, 0x22, 0x00, 0x33}))
	// Output: 03 11 22 02 33 00
}
