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

// zstdMagic begins a file that is compressed with Zstandard (RFC 8878, 3.1.1:
// 0xFD2FB528, little-endian).
const zstdMagic = "\x28\xb5\x2f\xfd"

// unpackMost bounds the memory that unpacking may take.
const unpackMost = 32 << 20

// Unpacked is the capture that r holds, which may be compressed and packed.
func Unpacked(r io.Reader) (io.Reader, error) { return unpacked(bufio.NewReader(r)) }

func unpacked(r *bufio.Reader) (io.Reader, error) {
	if begins(r, zstdMagic) {
		// With one goroutine's worth of concurrency it needs no closing.
		z, err := zstd.NewReader(r, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxWindow(unpackMost), zstd.WithDecoderLowmem(true))
		if err != nil {
			return nil, fmt.Errorf("read capture: %w", err)
		}
		r = bufio.NewReader(z)
	}
	if !begins(r, packMagic) {
		return r, nil
	}
	_, err := r.Discard(len(packMagic))
	return &unpacker{r: r}, err
}

func begins(r *bufio.Reader, with string) bool {
	head, _ := r.Peek(len(with))
	return string(head) == with
}
