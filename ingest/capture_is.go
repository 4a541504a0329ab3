package ingest

import (
	"bufio"
	"fmt"
	"io"

	"github.com/klauspost/compress/zstd"
)

// IsCapture says whether r begins as a capture does, compressed or not. It reads
// no more than it needs for that.
func IsCapture(r io.Reader) bool {
	in, err := unpacked(bufio.NewReaderSize(r, 64))
	if err != nil {
		return false
	}
	head := make([]byte, len(captureMagic))
	_, err = io.ReadFull(in, head)
	return err == nil && string(head) == captureMagic
}

// packedMagic begins a file that is compressed with Zstandard (RFC 8878, 3.1.1:
// 0xFD2FB528, little-endian).
const packedMagic = "\x28\xb5\x2f\xfd"

// unpackMost bounds the memory that unpacking may take.
const unpackMost = 32 << 20

// unpacked is what r holds, which may be compressed.
func unpacked(r *bufio.Reader) (io.Reader, error) {
	if head, _ := r.Peek(len(packedMagic)); string(head) != packedMagic {
		return r, nil
	}
	// With one goroutine's worth of concurrency it needs no closing.
	z, err := zstd.NewReader(r, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxWindow(unpackMost), zstd.WithDecoderLowmem(true))
	if err != nil {
		return nil, fmt.Errorf("read capture: %w", err)
	}
	return z, nil
}
