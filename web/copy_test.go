package web

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"
)

// waitingCopy is a copy whose server is away.
type waitingCopy struct{}

func (waitingCopy) CopyState(context.Context) (CopyState, error) {
	since, last := inventedEpoch.Add(10*time.Second), inventedEpoch.Add(9*time.Second)
	return CopyState{
		URL: "http://127.0.0.1:8086", State: "waiting", Trouble: "connection refused", Since: &since, Backlog: 1234, LastAt: &last,
		Points: 50, Aside: 3, AsideFile: "/data/influx/rejected.lp", Requests: 9, Failures: 4,
	}, nil
}

// deafCopy is a copy whose bus does not answer.
type deafCopy struct{}

func (deafCopy) CopyState(context.Context) (CopyState, error) {
	return CopyState{Points: 7}, errors.New("no answer")
}

func TestCopyInMetrics(t *testing.T) {
	_, _, base := live(t) // 40 s after the epoch
	_, _, body := ask(t, "GET", base+"/metrics", "")
	for _, want := range []string{
		"padlark_copy_backlog_bytes 1234\n", `padlark_copy_state{state="waiting"} 1` + "\n", `padlark_copy_state{state="sending"} 0` + "\n",
		"padlark_copy_waiting_seconds 30\n", "padlark_copy_last_success_age_seconds 31\n", "padlark_copy_points_total 50\n",
		"padlark_copy_set_aside_points_total 3\n", "padlark_copy_requests_total 9\n", "padlark_copy_failed_requests_total 4\n",
	} {
		if !strings.Contains(string(body), want) {
			t.Errorf("no %q in the metrics", want)
		}
	}
	for name, c := range map[string]Copier{"deaf": deafCopy{}, "none": nil} {
		opt := recorded().options()
		opt.Copier = c
		_, base := serve(t, opt)
		code, _, _ := ask(t, "GET", base+"/api/v1/copy", "")
		_, _, body := ask(t, "GET", base+"/metrics", "")
		text := string(body)
		if none := c == nil; strings.Contains(text, "padlark_copy_backlog") || strings.Contains(text, "padlark_copy_points_total 7\n") == none || (code == 204) != none {
			t.Errorf("%s: status %d, metrics %v", name, code, strings.Contains(text, "padlark_copy_"))
		}
	}
}
