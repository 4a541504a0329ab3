package ingest

import "io"

// IsCapture says whether r begins as a capture does. It reads those first
// bytes and no more.
func IsCapture(r io.Reader) bool {
	head := make([]byte, len(captureMagic))
	_, err := io.ReadFull(r, head)
	return err == nil && string(head) == captureMagic
}
