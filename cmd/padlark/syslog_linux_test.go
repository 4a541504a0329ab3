package main

import (
	"errors"
	"testing"

	"github.com/coreos/go-systemd/v22/journal"
	"github.com/google/go-cmp/cmp"
	"github.com/rs/zerolog"
)

// A line reads in the system's log as in a terminal, and its fields can be
// searched for.
func TestSystemLog(t *testing.T) {
	type sent struct {
		Text   string
		P      journal.Priority
		Fields map[string]string
	}
	var got []sent
	log := zerolog.New(newJournalLog(func(text string, p journal.Priority, f map[string]string) error {
		got = append(got, sent{text, p, f})
		return nil
	})).With().Timestamp().Str("session", "20260613-090000-rec").Logger()
	log.Warn().Str("link", "pad-radio").Int("bad_frames", 7).Err(errors.New("the port is gone")).Msg("cannot read")
	want := []sent{{`cannot read error="the port is gone" bad_frames=7 link=pad-radio session=20260613-090000-rec`, journal.PriWarning, map[string]string{
		"PADLARK_SESSION": "20260613-090000-rec", "PADLARK_LINK": "pad-radio", "PADLARK_BAD_FRAMES": "7", "PADLARK_ERROR": "the port is gone",
	}}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
}
