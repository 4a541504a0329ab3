package bus

import (
	"crypto/tls"
	"strings"
	"testing"

	"github.com/nats-io/nats.go"

	"padlark/flight"
)

// Each role as a client of its own, over TLS: what a viewer, a board and somebody
// without a word may hear and send, and what is refused.
func TestRoles(t *testing.T) {
	cert, pool := certificate(t)
	b := open(t, Options{
		Listen: "127.0.0.1:0", Token: "viewers-word", Boards: []Board{{"boards.teal", "teals-word"}, {"boards.rust", "rusts-word"}},
		TLS: &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12},
	})
	sent := make(chan string, 10)
	stop, _, err := b.Take(">", func(m []byte) { sent <- string(m) })
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	connect := func(word string) (*nats.Conn, chan error, error) {
		refused := make(chan error, 20)
		nc, err := nats.Connect("tls://"+b.Addr(), nats.Token(word), nats.Secure(&tls.Config{RootCAs: pool, MinVersion: tls.VersionTLS12}),
			nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) { refused <- err }))
		if err == nil {
			t.Cleanup(nc.Close)
		}
		return nc, refused, err
	}
	for _, word := range []string{"", "guessed"} {
		if _, _, err := connect(word); err == nil {
			t.Errorf("%q lets somebody in", word)
		}
	}
	if _, err := nats.Connect("nats://"+b.Addr(), nats.Token("teals-word"), nats.TLSHandshakeFirst()); err == nil {
		t.Error("somebody is let in whose certificate authority nobody knows")
	}
	const event, alarm = "padlark.north-field.event.Teal", "padlark.north-field.alarm.Teal"
	for _, role := range []struct {
		word     string
		may      []string // publish on
		mayNot   []string
		hears    []string
		hearsNot []string
	}{
		{"viewers-word", nil, []string{event, alarm, "boards.teal", "boards.rust", innerSubject("north-field")},
			[]string{"padlark.>", "padlark.*.event.*"}, []string{">", "_padlark.>", innerSubject("north-field"), "boards.>"}},
		{"teals-word", []string{"boards.teal"}, []string{event, alarm, "boards.rust", "boards.>"}, nil, []string{">", "padlark.>", "boards.teal", "_padlark.>"}},
		{"rusts-word", []string{"boards.rust"}, []string{event, alarm, "boards.teal"}, nil, []string{">", "padlark.>"}},
	} {
		nc, refused, err := connect(role.word)
		if err != nil {
			t.Fatalf("%s: %v", role.word, err)
		}
		for _, subject := range append(append([]string{}, role.may...), role.mayNot...) {
			if err := nc.Publish(subject, []byte(role.word+" to "+subject)); err != nil {
				t.Fatal(err)
			}
		}
		got := make(chan string, 20)
		for _, subject := range append(append([]string{}, role.hears...), role.hearsNot...) {
			if _, err := nc.Subscribe(subject, func(m *nats.Msg) { got <- m.Sub.Subject + " " + m.Subject }); err != nil {
				t.Fatal(err)
			}
		}
		if err := nc.FlushWithContext(soon(t)); err != nil {
			t.Fatal(err)
		}
		for i := range len(role.mayNot) + len(role.hearsNot) {
			select {
			case err := <-refused:
				if !strings.Contains(strings.ToLower(err.Error()), "permissions violation") {
					t.Errorf("%s: %v", role.word, err)
				}
			case <-soon(t).Done():
				t.Fatalf("%s: only %d things were refused", role.word, i)
			}
		}
		for _, subject := range role.may {
			if m := <-sent; m != role.word+" to "+subject {
				t.Errorf("%s: the station heard %q", role.word, m)
			}
		}
		if err := b.PublishEvent(&flight.Event{ID: "x", Rocket: "Teal", Kind: flight.Apogee}); err != nil {
			t.Fatal(err)
		}
		<-sent // the station's own subscription to everything has it too
		for range role.hears {
			select {
			case m := <-got:
				if !strings.HasSuffix(m, " "+event) {
					t.Errorf("%s hears %s", role.word, m)
				}
			case <-soon(t).Done():
				t.Fatalf("%s does not hear the event", role.word)
			}
		}
		if err := nc.FlushWithContext(soon(t)); err != nil {
			t.Fatal(err)
		}
		select {
		case m := <-got:
			t.Errorf("%s hears %s", role.word, m)
		default:
		}
		nc.Close()
	}
	select {
	case m := <-sent:
		t.Errorf("somebody has sent %q", m)
	default:
	}
}
