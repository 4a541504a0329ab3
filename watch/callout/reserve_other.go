//go:build !unix

package callout

import (
	"context"
	"errors"
)

// reserve is not known here: see reserve_unix.go.
type reserve struct{}

func newReserve([]string) *reserve { return nil }

func (r *reserve) speak(context.Context, string, string) error { return errors.ErrUnsupported }

func (r *reserve) close() {}

func exhausted(error) bool { return false }
