package station

import (
	"context"
	"testing"
	"time"

	"padlark/flight"
	"padlark/ingest"
)

// told keeps what a clockFix stores and publishes.
type told struct {
	shift  time.Duration
	source string
	events []flight.Event
}

func (t *told) SetShift(_ context.Context, _ string, shift time.Duration, source string) error {
	t.shift, t.source = shift, source
	return nil
}

func (t *told) event(e flight.Event) error {
	t.events = append(t.events, e)
	return nil
}

// A computer that boots in 1970 and learns the time later, from one source
// after the other.
func TestClockFix(t *testing.T) {
	boot := time.Date(1970, 1, 1, 0, 1, 0, 0, time.UTC)
	truth := time.Date(2026, 5, 2, 12, 0, 0, 0, time.UTC)
	v := ingest.NewVirtualClock(boot)
	out := &told{}
	wall, synced := boot, false
	c := &clockFix{
		session: "s", clock: v.Clock(), archive: out, tell: out.event, gps: make(chan gpsOffer, 1),
		synced: func() (bool, string) { return synced, "the system clock" },
		wall:   func() time.Time { return wall },
	}
	ctx, dir := t.Context(), t.TempDir()
	pass := func(d time.Duration) {
		v.Advance(v.Clock().Now() + d)
		wall = wall.Add(d)
		truth = truth.Add(d)
	}
	check := func(what string, events int, how string, within time.Duration) {
		t.Helper()
		st, err := c.ClockStatus(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if len(out.events) != events || st.How != how && how != "" {
			t.Errorf("%s: %d events, want %d; known by %q, want %q", what, len(out.events), events, st.How, how)
		}
		if off := st.Now.Add(out.shift).Sub(truth).Abs(); st.Trusted && off > within {
			t.Errorf("%s: the corrected time is off by %v", what, off)
		}
	}
	c.look(ctx, dir)
	if st, _ := c.ClockStatus(ctx); st.Trusted || st.Now.Year() != 1970 || out.source != "" {
		t.Errorf("trusted without reason: %+v", st)
	}

	pass(10 * time.Second)
	gps := func() {
		c.frame(&ingest.Frame{Link: "gps", Heard: v.Clock().At(v.Clock().Now()), Bytes: zda(truth)})
		select {
		case o := <-c.gps:
			c.offer(ctx, o.heard, o.truth, sdGPS, "GPS time on link "+o.link)
		default:
		}
	}
	gps()
	check("gps", 1, "GPS time on link gps", time.Second)
	for range 60 {
		pass(time.Second)
		gps()
	}
	check("gps for a minute", 1, "GPS time on link gps", time.Second)

	// The network comes up and the system's clock is set, 56 years on.
	pass(time.Second)
	wall, synced = truth, true
	c.look(ctx, dir)
	check("synchronised", 2, "the system clock", time.Millisecond)
	pass(time.Minute)
	c.look(ctx, dir)
	gps()
	check("a minute later", 2, "the system clock", time.Millisecond)

	// Somebody knows better.
	if _, err := OrderFix(dir, time.Date(2026, 5, 2, 20, 0, 0, 0, time.UTC)); err != nil {
		t.Fatal(err)
	}
	c.synced = func() (bool, string) { return false, "" }
	c.wall = time.Now // by which the order was written
	c.look(ctx, dir)
	check("by hand", 3, "by hand, with padlark time set", 24*time.Hour)
	if got := out.events[2].At.Add(out.shift); got.Sub(time.Date(2026, 5, 2, 20, 0, 0, 0, time.UTC)).Abs() > time.Second {
		t.Errorf("set to %s", got)
	}
	c.look(ctx, dir)
	check("the order is obeyed once", 3, "", 24*time.Hour)
	ids := map[string]bool{}
	for _, e := range out.events {
		if e.Kind != flight.TimeFix || e.Note == "" || ids[e.ID] {
			t.Errorf("event %+v", e)
		}
		ids[e.ID] = true
	}
}

// An order by hand means what it says although the system clock steps while it
// lies there, by decades or by an hour back.
func TestOrderWhileTheClockSteps(t *testing.T) {
	truth := time.Date(2026, 5, 2, 12, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		step, late time.Duration // of the clock since the order; what it counts
	}{
		{800 * time.Millisecond, 800 * time.Millisecond},
		{20 * 365 * 24 * time.Hour, 0},
		{-time.Hour, 0},
		{-time.Millisecond, 0},
	} {
		v, out, dir := ingest.NewVirtualClock(time.Unix(60, 0)), &told{}, t.TempDir()
		if _, err := OrderFix(dir, truth); err != nil {
			t.Fatal(err)
		}
		by := time.Now()
		clock := &clockFix{
			session: "s", clock: v.Clock(), archive: out, tell: out.event, gps: make(chan gpsOffer, 1),
			synced: func() (bool, string) { return false, "" }, wall: func() time.Time { return by.Add(c.step) },
		}
		clock.look(t.Context(), dir)
		if len(out.events) != 1 {
			t.Fatalf("after a step by %v: %d events", c.step, len(out.events))
		}
		// The order was written some moments before by was read.
		if got := v.Clock().Epoch.Add(out.shift).Sub(truth); got < c.late || got > c.late+500*time.Millisecond {
			t.Errorf("after a step by %v the time is %v later than ordered, want %v", c.step, got, c.late)
		}
	}
}

// A clock that was right from the start is vouched for without an event.
func TestClockRightFromTheStart(t *testing.T) {
	v := ingest.NewVirtualClock(time.Date(2026, 5, 2, 12, 0, 0, 0, time.UTC))
	out := &told{}
	c := &clockFix{
		session: "s", clock: v.Clock(), archive: out, tell: out.event, gps: make(chan gpsOffer, 1),
		synced: func() (bool, string) { return true, "the system clock" },
		wall:   func() time.Time { return v.Clock().At(v.Clock().Now() + 20*time.Millisecond) },
	}
	for range 3 {
		c.look(t.Context(), t.TempDir())
	}
	st, _ := c.ClockStatus(t.Context())
	if len(out.events) != 0 || !st.Trusted || out.shift != 0 || out.source != "the system clock" {
		t.Errorf("%+v, %+v", st, out)
	}
}

func zda(at time.Time) []byte {
	body := at.Format("GPZDA,150405.00,02,01,2006,00,00")
	var x byte
	for i := range len(body) {
		x ^= body[i]
	}
	return []byte("$" + body + "*" + string("0123456789ABCDEF"[x>>4]) + string("0123456789ABCDEF"[x&15]))
}
