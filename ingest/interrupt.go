package ingest

import (
	"context"
	"io"
)

// Interruptible makes reads of an open file, such as the standard input, end
// with the context's error when that is cancelled. A reader that is not a file
// is returned as it is.
func Interruptible(ctx context.Context, r io.Reader) io.Reader { return interruptible(ctx, r) }
