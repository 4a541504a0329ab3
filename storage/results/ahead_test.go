package results

import (
	"context"
	"os"
	"reflect"
	"testing"
	"time"
)

// TestWorkAhead: what nobody has worked out is listed with what the events say until
// it is, by itself or by who asks for that flight; then the list is the whole one.
func TestWorkAhead(t *testing.T) {
	a, id, file := ended(t)
	r := New(a).Keeping()
	want := flights(t, New(a))
	span, err := a.Flights(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	name := key{id, want[0].Rocket, want[0].Flight}

	// As a list finds it that has no time left.
	waiting, err := r.listedUntil(t.Context(), id, time.Now())
	if err != nil || len(waiting) != 1 {
		t.Fatalf("%+v, %v", waiting, err)
	}
	if w := waiting[0]; w.Reason.Key != Waiting || w.LaunchedAt == nil || !w.LaunchedAt.Equal(*span[0].Liftoff) || w.ApogeeM != nil {
		t.Errorf("before it is worked out: %+v", w)
	}
	if _, err := os.Stat(file); err == nil {
		t.Error("what is not worked out is kept")
	}

	rests := 0
	n, err := r.WorkAhead(t.Context(), func(took time.Duration) time.Duration {
		rests++
		return 0
	})
	if n != 1 || rests != 1 || err != nil {
		t.Errorf("%d flights worked out, %d rests, %v", n, rests, err)
	}
	got, err := r.listedUntil(t.Context(), "", time.Now())
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("listed %+v, %v\nwant %+v", got, err, want)
	}
	if one, err := r.Result(t.Context(), name.session, name.rocket, name.flight); err != nil || !reflect.DeepEqual(one, want[0]) {
		t.Errorf("one %+v, %v", one, err)
	}
	if n, err := New(a).WorkAhead(t.Context(), func(time.Duration) time.Duration { return 0 }); n != 0 || err != nil {
		t.Errorf("with all kept: %d flights worked out, %v", n, err)
	}

	// Whoever stops it keeps what is done.
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	n, err = New(a).Keeping().WorkAhead(ctx, func(time.Duration) time.Duration {
		stop()
		return time.Hour
	})
	if _, serr := os.Stat(file); n != 1 || err != nil || serr != nil {
		t.Errorf("stopped after %d flights: %v, %v", n, err, serr)
	}
}

// TestCoursesAreForgotten: of many flights of a running session the courses are
// forgotten first, and what they came to stays.
func TestCoursesAreForgotten(t *testing.T) {
	r := New(nil)
	for n := range keepMost + 10 {
		r.keep(key{"running", "Teal", n}, kept{settled: true})
		r.keep(key{"over", "Teal", n}, kept{settled: true, over: true})
	}
	bare, whole := 0, 0
	for k, v := range r.known {
		switch {
		case v.bare && k.session == "running":
			bare++
		case !v.bare:
			whole++
		}
	}
	if running := keepMost + 10 - keepMost/2; bare != running || whole != keepMost || len(r.known) != bare+whole {
		t.Errorf("%d bare, %d whole of %d", bare, whole, len(r.known))
	}
}
