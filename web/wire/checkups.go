package wire

import (
	"context"
	"time"
)

// LastCheckup is the newest bench check of a rocket.
func (a *Archive) LastCheckup(ctx context.Context, rocket string) (at time.Time, verdict string, ok bool, err error) {
	list, err := a.Checkups(ctx, rocket)
	if err != nil || len(list) == 0 {
		return time.Time{}, "", false, err
	}
	last := list[len(list)-1]
	return last.At, last.Verdict, true, nil
}
