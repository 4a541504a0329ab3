package station

import (
	"context"
	"testing"
	"time"
)

// TestOutlasting: what a stop leaves to be done has time, and an end.
func TestOutlasting(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	long, stopLong := outlasting(ctx, time.Hour)
	short, stopShort := outlasting(ctx, time.Millisecond)
	defer stopShort()
	if short.Err() != nil || long.Err() != nil {
		t.Fatal("ended before the stop")
	}
	stop()
	select {
	case <-short.Done():
	case <-time.After(10 * time.Second):
		t.Error("it does not end after its time")
	}
	if long.Err() != nil {
		t.Error("it ended with the stop")
	}
	stopLong()
	if long.Err() == nil {
		t.Error("it goes on after its own stop")
	}
}
