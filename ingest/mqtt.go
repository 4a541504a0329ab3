package ingest

import (
	"bufio"
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strings"
	"time"

	"github.com/mochi-mqtt/server/v2/packets"
)

// Reasons for messages of a broker that are not taken.
const (
	reasonOtherTopic = "other topic"
	reasonRetained   = "retained" // an old message that the broker has kept: when it was sent is not known
)

const (
	mqttVersion = 4 // MQTT 3.1.1 (OASIS, 29 October 2014), which every broker speaks
	mqttQoS     = 1
	// mqttQuiet is after how long without a word the broker is asked whether it is
	// there, and mqttPatience how long it may take to answer or to end a packet.
	mqttQuiet    = 10 * time.Second
	mqttPatience = 10 * time.Second
	// mqttExtra is what a packet may hold besides the message: its topic.
	mqttExtra = 1024
)

// mqttLink subscribes to a topic of a broker elsewhere. It publishes nothing.
type mqttLink struct {
	runner
	addr, topic    string
	user, password string // the second is the path of a file
	limit          int    // of a message
}

// Run implements Link.
func (l *mqttLink) Run(ctx context.Context, out func(Chunk) error) error {
	return l.keep(ctx, out, l.try, nil)
}

// mqttConn is one connection to a broker.
type mqttConn struct {
	net.Conn
	br    *bufio.Reader
	limit int // of a packet
}

func (l *mqttLink) try(ctx context.Context) error {
	d := net.Dialer{Timeout: dialTimeout, KeepAliveConfig: keepAlive}
	conn, err := d.DialContext(ctx, "tcp", l.addr)
	if err != nil {
		return fmt.Errorf("connect to %s: %w; is the broker running, and is the port right?", l.addr, dialCause(err))
	}
	defer conn.Close() //nolint:errcheck // nothing that it would keep has been written
	defer context.AfterFunc(ctx, func() { _ = conn.Close() })()
	c := &mqttConn{conn, bufio.NewReader(conn), l.limit + mqttExtra}
	if err := l.greet(c); err != nil {
		return err
	}
	l.up(fmt.Sprintf("subscribed to %s at %s", l.topic, l.addr))
	for ctx.Err() == nil {
		pk, err := c.next()
		if err != nil {
			return fmt.Errorf("broker %s: %w", l.addr, dialCause(err))
		}
		if pk.FixedHeader.Type != packets.Publish {
			continue
		}
		if err := l.message(&pk); err != nil {
			return err
		}
		if pk.FixedHeader.Qos == 0 {
			continue
		}
		ack := packets.Packet{FixedHeader: packets.FixedHeader{Type: packets.Puback}, ProtocolVersion: mqttVersion, PacketID: pk.PacketID}
		if err := c.write(&ack, (*packets.Packet).PubackEncode); err != nil {
			return fmt.Errorf("broker %s: %w", l.addr, dialCause(err))
		}
	}
	return nil
}

// message passes a message on.
func (l *mqttLink) message(pk *packets.Packet) error {
	heard := l.env.Clock.Now()
	if pk.FixedHeader.Retain {
		l.rep.stats.addApart(reasonRetained, pk.Payload, heard)
		return nil
	}
	return l.send(Chunk{Heard: heard, Bytes: pk.Payload, Peer: pk.TopicName, Datagram: true, End: EndWhole})
}

// greet connects and subscribes.
func (l *mqttLink) greet(c *mqttConn) error {
	hello := packets.Packet{FixedHeader: packets.FixedHeader{Type: packets.Connect}, ProtocolVersion: mqttVersion,
		Connect: packets.ConnectParams{ProtocolName: []byte("MQTT"), Clean: true, Keepalive: uint16(2 * mqttQuiet / time.Second),
			ClientIdentifier: "padlark-" + rand.Text()[:12]}}
	if l.user != "" {
		word, err := ReadPassword(l.password)
		if err != nil {
			return err
		}
		p := &hello.Connect
		p.UsernameFlag, p.Username, p.PasswordFlag, p.Password = true, []byte(l.user), true, []byte(word)
	}
	subscribe := packets.Packet{FixedHeader: packets.FixedHeader{Type: packets.Subscribe, Qos: 1}, ProtocolVersion: mqttVersion,
		PacketID: 1, Filters: packets.Subscriptions{{Filter: l.topic, Qos: mqttQoS}}}
	ack, err := c.ask(&hello, (*packets.Packet).ConnectEncode, packets.Connack)
	switch {
	case err != nil:
		return fmt.Errorf("broker %s: %w; is it an MQTT broker without TLS?", l.addr, dialCause(err))
	case ack.ReasonCode == 4 || ack.ReasonCode == 5: // MQTT 3.1.1, table 3.1
		return fmt.Errorf("broker %s refuses us: user or password are wrong, or missing", l.addr)
	case ack.ReasonCode != 0:
		return fmt.Errorf("broker %s refuses us: code %d", l.addr, ack.ReasonCode)
	}
	ack, err = c.ask(&subscribe, (*packets.Packet).SubscribeEncode, packets.Suback)
	if err != nil {
		return fmt.Errorf("broker %s: %w", l.addr, dialCause(err))
	}
	if len(ack.ReasonCodes) != 1 || ack.ReasonCodes[0] > 2 {
		return fmt.Errorf("broker %s refuses the topic %s: may this user read it?", l.addr, l.topic)
	}
	return nil
}

// ask sends a packet and waits for the one that answers it. Messages that come
// before are of a subscription that is not ours.
func (c *mqttConn) ask(pk *packets.Packet, encode func(*packets.Packet, *bytes.Buffer) error, want byte) (packets.Packet, error) {
	if err := c.write(pk, encode); err != nil {
		return packets.Packet{}, err
	}
	if err := c.SetReadDeadline(time.Now().Add(mqttPatience)); err != nil {
		return packets.Packet{}, err
	}
	got, err := readPacket(c.br, c.limit)
	if err == nil && got.FixedHeader.Type != want {
		err = fmt.Errorf("it answered with a %s", packets.PacketNames[got.FixedHeader.Type])
	}
	return got, err
}

func (c *mqttConn) write(pk *packets.Packet, encode func(*packets.Packet, *bytes.Buffer) error) error {
	var buf bytes.Buffer
	if err := encode(pk, &buf); err != nil {
		return fmt.Errorf("write packet: %w", err)
	}
	if err := c.SetWriteDeadline(time.Now().Add(mqttPatience)); err != nil {
		return err
	}
	_, err := c.Write(buf.Bytes())
	return err
}

// next waits for a packet, and asks a silent broker whether it is still there.
func (c *mqttConn) next() (packets.Packet, error) {
	for asked := false; ; asked = true {
		if err := c.SetReadDeadline(time.Now().Add(mqttQuiet)); err != nil {
			return packets.Packet{}, err
		}
		_, err := c.br.Peek(1)
		if err == nil {
			break
		}
		if !errors.Is(err, os.ErrDeadlineExceeded) {
			return packets.Packet{}, err
		}
		if asked {
			return packets.Packet{}, errors.New("it does not answer any more")
		}
		ping := packets.Packet{FixedHeader: packets.FixedHeader{Type: packets.Pingreq}}
		if err := c.write(&ping, (*packets.Packet).PingreqEncode); err != nil {
			return packets.Packet{}, err
		}
	}
	if err := c.SetReadDeadline(time.Now().Add(mqttPatience)); err != nil {
		return packets.Packet{}, err
	}
	return readPacket(c.br, c.limit)
}

// readPacket reads one packet that a broker may send, of no more than limit bytes.
func readPacket(r *bufio.Reader, limit int) (packets.Packet, error) {
	pk := packets.Packet{ProtocolVersion: mqttVersion}
	first, err := r.ReadByte()
	if err != nil {
		return pk, err
	}
	if err := pk.FixedHeader.Decode(first); err != nil {
		return pk, fmt.Errorf("read packet: %w", err)
	}
	if pk.FixedHeader.Remaining, _, err = packets.DecodeLength(r); err != nil {
		return pk, fmt.Errorf("read packet: %w", err)
	}
	if pk.FixedHeader.Remaining > limit {
		return pk, fmt.Errorf("it sends a packet of %d bytes, and %d are the most: raise frame_limit, or choose the topic more narrowly", pk.FixedHeader.Remaining, limit)
	}
	body := make([]byte, pk.FixedHeader.Remaining)
	if _, err := io.ReadFull(r, body); err != nil {
		return pk, err
	}
	switch pk.FixedHeader.Type {
	case packets.Connack:
		err = pk.ConnackDecode(body)
	case packets.Suback:
		err = pk.SubackDecode(body)
	case packets.Publish:
		err = pk.PublishDecode(body)
	case packets.Pingresp:
	default:
		err = fmt.Errorf("a packet of kind %d, which no broker sends", pk.FixedHeader.Type)
	}
	if err != nil {
		return pk, fmt.Errorf("read packet: %w", err)
	}
	return pk, nil
}

// topicMatches says whether a topic is one of a filter's (MQTT 3.1.1, 4.7).
func topicMatches(filter, topic string) bool {
	if strings.HasPrefix(topic, "$") && !strings.HasPrefix(filter, "$") {
		return false
	}
	f, t := strings.Split(filter, "/"), strings.Split(topic, "/")
	for i, level := range f {
		switch {
		case level == "#":
			return true
		case i >= len(t), level != "+" && level != t[i]:
			return false
		}
	}
	return len(f) == len(t)
}
