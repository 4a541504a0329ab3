package ingest

import (
	"bufio"
	"bytes"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/hooks/auth"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"

	mqttbroker "padlark/ingest/broker"
)

func passwordFile(t *testing.T, word string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "mqtt.password")
	if err := os.WriteFile(path, []byte(word+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// The examples of MQTT 3.1.1, 4.7.1 and 4.7.2.
func TestTopicMatches(t *testing.T) {
	for _, c := range []struct {
		filter, topic string
		want          bool
	}{
		{"sport/tennis/player1/#", "sport/tennis/player1", true},
		{"sport/tennis/player1/#", "sport/tennis/player1/ranking", true},
		{"sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", true},
		{"sport/#", "sport", true},
		{"sport/tennis/+", "sport/tennis/player2", true},
		{"sport/tennis/+", "sport/tennis/player1/ranking", false},
		{"sport/+", "sport", false},
		{"sport/+", "sport/", true},
		{"+/+", "/finance", true},
		{"/+", "/finance", true},
		{"+", "/finance", false},
		{"#", "$SYS/monitor", false},
		{"+/monitor/Clients", "$SYS/monitor/Clients", false},
		{"$SYS/#", "$SYS/monitor/Clients", true},
		{"$SYS/monitor/+", "$SYS/monitor/Clients", true},
	} {
		if got := topicMatches(c.filter, c.topic); got != c.want {
			t.Errorf("%s of %s: %v, want %v", c.topic, c.filter, got, c.want)
		}
	}
}

// broker is a general one; what it is given is published to all.
func broker(t *testing.T, addr string, ledger *auth.Ledger) *mqtt.Server {
	t.Helper()
	b := mqtt.New(&mqtt.Options{InlineClient: true})
	var err error
	if ledger != nil {
		err = b.AddHook(new(auth.Hook), &auth.Options{Ledger: ledger})
	} else {
		err = b.AddHook(new(auth.AllowHook), nil)
	}
	if err != nil {
		t.Fatal(err)
	}
	if err := b.AddListener(listeners.NewTCP(listeners.Config{ID: "t", Address: addr})); err != nil {
		t.Fatal(err)
	}
	go b.Serve() //nolint:errcheck // it ends with Close
	return b
}

func freeAddr(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

func publish(t *testing.T, b *mqtt.Server, topic, text string, retain bool) {
	t.Helper()
	if err := b.Publish(topic, []byte(text), retain, 1); err != nil {
		t.Fatal(err)
	}
}

// Messages of the topic are heard; old ones that the broker kept are not taken for
// new, and a broker that goes is waited for.
func TestMQTTClient(t *testing.T) {
	addr := freeAddr(t)
	r := start(t, LinkConfig{Name: "gate", MQTT: addr, Topic: "rockets/+/up"}, lines, Env{})
	r.state(StateWaiting, "is the broker running")
	b := broker(t, addr, nil)
	publish(t, b, "rockets/teal/up", "old", true)
	r.state(StateUp, "subscribed to rockets/+/up at "+addr)
	publish(t, b, "rockets/teal/up", "one\ntwo", false)
	publish(t, b, "rockets/teal/down", "not ours", false)
	publish(t, b, "rockets/rust/up", "three", true)
	r.frame("one")
	r.frame("two")
	r.frame("three")
	if h := r.Health(); h.Bad[reasonRetained] != 1 || h.Frames != 3 {
		t.Errorf("health %+v", h)
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	r.state(StateWaiting, addr)
	b = broker(t, addr, nil)
	defer b.Close()
	r.state(StateUp, "subscribed")
	publish(t, b, "rockets/teal/up", "four", false)
	r.frame("four")
	r.stop()
}

func TestMQTTClientPassword(t *testing.T) {
	addr := freeAddr(t)
	b := broker(t, addr, &auth.Ledger{Auth: auth.AuthRules{{Username: "field", Password: "larks rise", Allow: true}}})
	defer b.Close()
	r := start(t, LinkConfig{Name: "gate", MQTT: addr, Topic: "a"}, lines, Env{})
	r.state(StateWaiting, "user or password are wrong")
	r.stop()
	r = start(t, LinkConfig{Name: "gate", MQTT: addr, Topic: "a", User: "field", PasswordFile: passwordFile(t, "larks rise")}, lines, Env{})
	r.state(StateUp, "subscribed")
	publish(t, b, "a", "one", false)
	r.frame("one")
	r.stop()
}

// A broker that sends more than a message may have is left, with the mend.
func TestMQTTTooLarge(t *testing.T) {
	addr := freeAddr(t)
	b := broker(t, addr, nil)
	defer b.Close()
	r := start(t, LinkConfig{Name: "gate", MQTT: addr, Topic: "a", FrameLimit: 100}, lines, Env{})
	r.state(StateUp, "subscribed")
	publish(t, b, "a", strings.Repeat("x", 3000), false)
	r.state(StateWaiting, "raise frame_limit")
	r.stop()
}

// board is a client that publishes, as a board with Wi-Fi does.
type board struct {
	t    *testing.T
	conn net.Conn
	br   *bufio.Reader
	id   uint16
}

func (b *board) send(pk packets.Packet, encode func(*packets.Packet, *bytes.Buffer) error) {
	b.t.Helper()
	var buf bytes.Buffer
	if err := encode(&pk, &buf); err != nil {
		b.t.Fatal(err)
	}
	if _, err := b.conn.Write(buf.Bytes()); err != nil {
		b.t.Fatal(err)
	}
}

// join connects, and returns the broker's answer.
func join(t *testing.T, addr, user, word string) (*board, byte) {
	t.Helper()
	b := &board{t: t, conn: dial(t, "tcp", addr)}
	b.br = bufio.NewReader(b.conn)
	hello := packets.Packet{FixedHeader: packets.FixedHeader{Type: packets.Connect}, ProtocolVersion: 4,
		Connect: packets.ConnectParams{ProtocolName: []byte("MQTT"), ClientIdentifier: "teal", Keepalive: 30,
			WillFlag: true, WillTopic: "rockets/teal", WillPayload: []byte("gone")}}
	if user != "" {
		p := &hello.Connect
		p.UsernameFlag, p.Username, p.PasswordFlag, p.Password = true, []byte(user), true, []byte(word)
	}
	b.send(hello, (*packets.Packet).ConnectEncode)
	ack, err := readPacket(b.br, 1000)
	if err != nil || ack.FixedHeader.Type != packets.Connack {
		t.Fatalf("answer %+v, %v", ack, err)
	}
	return b, ack.ReasonCode
}

func (b *board) publish(topic, text string, qos byte) {
	b.t.Helper()
	b.id++
	b.send(packets.Packet{FixedHeader: packets.FixedHeader{Type: packets.Publish, Qos: qos}, ProtocolVersion: 4,
		TopicName: topic, Payload: []byte(text), PacketID: b.id}, (*packets.Packet).PublishEncode)
}

// acked waits until the broker says that it has the message.
func (b *board) acked() {
	b.t.Helper()
	if err := b.conn.SetReadDeadline(time.Now().Add(patience)); err != nil {
		b.t.Fatal(err)
	}
	head := make([]byte, 4)
	if _, err := b.br.Read(head); err != nil || head[0] != packets.Puback<<4 {
		b.t.Fatalf("answer % x, %v", head, err)
	}
}

// Boards publish to padlark itself; only what is published to the topic is taken,
// and a board that asks for it is told when its message is on its way.
func TestMQTTListen(t *testing.T) {
	r := start(t, LinkConfig{Name: "boards", MQTTListen: "127.0.0.1:0", Topic: "rockets/#", User: "field", PasswordFile: passwordFile(t, "larks rise")},
		Framing{Kind: FramingDatagram}, Env{ServeMQTT: mqttbroker.Serve})
	addr := r.address("listening on MQTT on TCP ")
	if _, code := join(t, addr, "", ""); code == 0 {
		t.Error("taken without a password")
	}
	if _, code := join(t, addr, "field", "larks fall"); code == 0 {
		t.Error("taken with a wrong password")
	}
	a, code := join(t, addr, "field", "larks rise")
	if code != 0 {
		t.Fatalf("refused: %d", code)
	}
	a.publish("rockets/teal", "one", 1)
	r.frame("one")
	a.acked()
	a.publish("lamps/kitchen", "on", 1)
	a.acked()
	a.publish("rockets/teal", "two", 0)
	r.frame("two")
	b, _ := join(t, addr, "field", "larks rise") // of the same name: neither throws the other out
	b.publish("rockets/rust", "three", 0)
	r.frame("three")
	a.publish("rockets/teal", "four", 0)
	r.frame("four")
	if h := r.Health(); h.Bad[reasonOtherTopic] != 1 || h.Bad[reasonPassword] != 2 || h.Frames != 4 {
		t.Errorf("health %+v", h)
	}
	a.conn.Close() // its last will is no frame
	r.words("1 connected")
	b.publish("rockets/rust", "five", 0)
	r.frame("five")
	r.stop()
}

// However many connect, so many are kept, and a packet over the limit is refused.
func TestMQTTListenBounds(t *testing.T) {
	r := start(t, LinkConfig{Name: "boards", MQTTListen: "127.0.0.1:0", FrameLimit: 50}, Framing{Kind: FramingDatagram}, Env{ServeMQTT: mqttbroker.Serve})
	addr := r.address("listening on MQTT on TCP ")
	for range maxPeers + 5 {
		dial(t, "tcp", addr) // and says nothing
	}
	a, code := join(t, addr, "", "")
	if code != 0 {
		t.Fatalf("refused: %d", code)
	}
	a.publish("a", "one", 0)
	r.frame("one")
	r.words(fmt.Sprintf("%d is the most", maxPeers))
	a.publish("a", strings.Repeat("x", 5000), 0)
	r.words("63 connected") // it is gone
	r.stop()
}

func FuzzMQTTPacket(f *testing.F) {
	f.Add([]byte{0x20, 2, 0, 0})
	f.Add([]byte{0x32, 7, 0, 1, 'a', 0, 5, 'h', 'i'})
	f.Add([]byte{0x90, 3, 0, 1, 1})
	f.Add([]byte{0x30, 0xff, 0xff, 0xff, 0x7f})
	f.Fuzz(func(t *testing.T, b []byte) {
		const limit = 200
		pk, err := readPacket(bufio.NewReader(bytes.NewReader(b)), limit)
		if err == nil && (len(pk.Payload) > limit || pk.FixedHeader.Remaining > limit) {
			t.Fatalf("a packet of %d bytes over the limit", pk.FixedHeader.Remaining)
		}
	})
}
