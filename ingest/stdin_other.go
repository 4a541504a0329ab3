//go:build !unix

package ingest

import (
	"context"
	"io"
)

// interruptible does nothing here: a read of the standard input ends when
// there is something to read or the input is closed.
func interruptible(_ context.Context, r io.Reader) io.Reader { return r }
