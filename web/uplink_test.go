package web

import (
	"strings"
	"testing"
	"time"
)

// waitingUplink is an uplink whose server is away.
type waitingUplink struct{}

func (waitingUplink) UplinkState() UplinkState {
	since, last := inventedEpoch.Add(10*time.Second), inventedEpoch.Add(9*time.Second)
	return UplinkState{URL: "nats://10.0.0.11:4222", State: "waiting", Trouble: "no route", Since: &since, Backlog: 1234, LastAt: &last, Frames: 50, Failures: 4}
}

func TestUplinkIsTold(t *testing.T) {
	opt := recorded().options()
	_, base := serve(t, opt)
	if code, _, _ := ask(t, "GET", base+"/api/v1/uplink", ""); code != 204 {
		t.Errorf("without an uplink: status %d", code)
	}
	if _, _, body := ask(t, "GET", base+"/metrics", ""); strings.Contains(string(body), "padlark_uplink") {
		t.Error("without an uplink there are metrics of it")
	}
	opt = recorded().options()
	opt.Uplink = waitingUplink{}
	opt.Now = func() time.Time { return inventedEpoch.Add(40 * time.Second) }
	_, base = serve(t, opt)
	code, _, body := ask(t, "GET", base+"/api/v1/uplink", "")
	if code != 200 || !strings.Contains(string(body), `"backlog_bytes":1234`) || !strings.Contains(string(body), `"trouble":"no route"`) {
		t.Errorf("status %d: %s", code, body)
	}
	_, _, body = ask(t, "GET", base+"/metrics", "")
	for _, want := range []string{
		"padlark_uplink_backlog_bytes 1234\n", "padlark_uplink_waiting_seconds 30\n", "padlark_uplink_last_success_age_seconds 31\n",
		"padlark_uplink_frames_total 50\n", "padlark_uplink_failures_total 4\n",
	} {
		if !strings.Contains(string(body), want) {
			t.Errorf("no %q in the metrics", want)
		}
	}
}
