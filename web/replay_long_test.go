package web

import (
	"context"
	"net/http"
	"testing"
	"time"

	"padlark/decode"
)

// A session that says it lasted for 285 years: its replay ends when whoever asked
// for it has gone.
func TestReplayOfCenturies(t *testing.T) {
	v := newInvented()
	epoch := inventedEpoch
	far := 9e15 * time.Microsecond
	last := epoch.Add(far)
	v.sessions = append(v.sessions, Session{ID: "long", Station: "north-field", Epoch: epoch, Ended: &last, Last: &last, Counted: true})
	v.samples["long"] = []decode.Sample{{Session: "long", Link: "pad", Rocket: "Teal", Seq: -1, Clock: -1, Heard: last, At: last, Passed: int64(far)}}
	s, base := serve(t, v.options())
	for _, query := range []string{"?at_s=9e15", "?at_s=1&speed=64", "?at_s=1e6"} {
		ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
		r, err := http.NewRequestWithContext(ctx, http.MethodGet, base+"/api/v1/sessions/long/replay"+query, nil)
		if err != nil {
			t.Fatal(err)
		}
		if res, err := http.DefaultClient.Do(r); err == nil {
			<-ctx.Done()
			_ = res.Body.Close()
		}
		cancel()
	}
	for end := time.Now().Add(5 * time.Second); s.replays.count() > 0; time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%d replays go on for nobody", s.replays.count())
		}
	}
}
