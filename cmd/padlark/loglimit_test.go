package main

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/rs/zerolog"
)

// Lines of one kind beyond the limit are counted and told, those of others pass.
func TestLogLimit(t *testing.T) {
	var b bytes.Buffer
	l, whole := newLogLimit(), zerolog.New(&b)
	log := whole.Hook(l)
	for i := range 1000 {
		log.Warn().Int("n", i).Msg("the port is gone")
	}
	log.Error().Msg("the disk is full")
	ended, stop := context.WithCancel(t.Context())
	stop()
	if err := l.run(ended, whole); err != nil {
		t.Fatal(err)
	}
	said := b.String()
	if n := strings.Count(said, "the port is gone"); n != limitLines+1 {
		t.Errorf("%d lines, want %d and one that counts", n, limitLines)
	}
	if want := fmt.Sprintf(`"left_out":%d,"line":"the port is gone"`, 1000-limitLines); !strings.Contains(said, want) || !strings.Contains(said, "the disk is full") {
		t.Errorf("it lacks %s or the other line:\n%s", want, said)
	}
	// A new time has lines again, and nothing to tell if there are few.
	b.Reset()
	log.Warn().Msg("the port is gone")
	l.tell(whole)
	if said := b.String(); strings.Count(said, "\n") != 1 {
		t.Errorf("in a new time: %s", said)
	}
	// However many kinds there are, the memory is bounded.
	for i := range 10 * limitKinds {
		log.Info().Msg(fmt.Sprint("kind ", i))
	}
	if len(l.lines) > limitKinds+1 {
		t.Errorf("%d kinds are counted", len(l.lines))
	}
}
