package ingest

import (
	"context"
	"crypto/subtle"
	"fmt"
	"log/slog"
	"net"
	"slices"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// newMQTTListen is a broker for boards that publish: connections are accepted and
// bounded as tcp_listen does it, and each speaks MQTT. Nothing is handed on to
// other clients, nothing kept for those who are away.
func newMQTTListen(cfg LinkConfig, r runner, from senders) *tcpListenLink {
	l := &tcpListenLink{runner: r, addr: cfg.MQTTListen, from: from, what: "MQTT on TCP "}
	l.serve = func(_ context.Context, conn net.Conn, take func(Chunk) error) error {
		word := ""
		if cfg.User != "" {
			var err error
			if word, err = ReadPassword(cfg.PasswordFile); err != nil {
				l.rep.words(StateUp, fmt.Sprintf("%s; boards are refused: %v", l.listening, err))
				return err
			}
		}
		limit := cfg.frameLimit() + mqttExtra
		capabilities := mqtt.NewDefaultServerCapabilities()
		capabilities.MaximumClients, capabilities.MaximumClientWritesPending = 1, 64
		capabilities.MaximumPacketSize = uint32(limit)
		capabilities.ReceiveMaximum, capabilities.MaximumInflight = 64, 64
		capabilities.TopicAliasMaximum, capabilities.MaximumSessionExpiryInterval = 16, 0
		capabilities.RetainAvailable, capabilities.SharedSubAvailable = 0, 0
		// One broker for each connection: clients cannot touch each other, nor
		// leave anything behind.
		broker := mqtt.New(&mqtt.Options{Capabilities: capabilities, Logger: slog.New(slog.DiscardHandler),
			ClientNetReadBufferSize: 4096, ClientNetWriteBufferSize: 1024})
		hook := &mqttHook{link: l, topic: cfg.Topic, user: cfg.User, word: word, take: take}
		if err := broker.AddHook(hook, nil); err != nil {
			return fmt.Errorf("serve MQTT: %w", err)
		}
		return broker.EstablishConnection("", conn)
	}
	return l
}

// mqttHook is where the broker asks who may connect and hands over what comes.
type mqttHook struct {
	mqtt.HookBase
	link       *tcpListenLink
	topic      string
	user, word string
	take       func(Chunk) error
}

// ID implements mqtt.Hook.
func (h *mqttHook) ID() string { return "padlark" }

// Provides implements mqtt.Hook.
func (h *mqttHook) Provides(b byte) bool {
	return slices.Contains([]byte{mqtt.OnConnectAuthenticate, mqtt.OnACLCheck, mqtt.OnPublish, mqtt.OnConnect}, b)
}

// OnConnect lets no last will stand: it would tell of a board what it did not send.
func (h *mqttHook) OnConnect(cl *mqtt.Client, _ packets.Packet) error {
	cl.Properties.Will = mqtt.Will{}
	cl.Properties.Clean = true
	cl.Properties.Props.SessionExpiryInterval = 0
	return nil
}

// OnConnectAuthenticate says whether a client knows the password.
func (h *mqttHook) OnConnectAuthenticate(cl *mqtt.Client, pk packets.Packet) bool {
	if h.user == "" {
		return true
	}
	right := subtle.ConstantTimeCompare([]byte(h.user), pk.Connect.Username) & subtle.ConstantTimeCompare([]byte(h.word), pk.Connect.Password)
	if right != 1 {
		h.link.rep.stats.addApart(ReasonPassword, pk.Connect.Username, h.link.env.Clock.Now())
	}
	return right == 1
}

// ReasonPassword: a client of padlark's broker did not know user and password.
const ReasonPassword = "user or password"

// OnACLCheck lets clients publish only.
func (h *mqttHook) OnACLCheck(_ *mqtt.Client, _ string, write bool) bool { return write }

// OnPublish takes a message; a sender that asks for it is told that it has come only
// when it is on its way.
func (h *mqttHook) OnPublish(_ *mqtt.Client, pk packets.Packet) (packets.Packet, error) {
	heard := h.link.env.Clock.Now()
	if h.topic != "" && !topicMatches(h.topic, pk.TopicName) {
		h.link.rep.stats.addApart(ReasonOtherTopic, pk.Payload, heard)
		return pk, nil
	}
	if err := h.take(Chunk{Heard: heard, Bytes: pk.Payload, Datagram: true, End: EndWhole}); err != nil {
		return pk, packets.ErrRejectPacket
	}
	return pk, nil
}
