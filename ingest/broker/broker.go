// Package broker speaks MQTT with one board that publishes to this computer. It is
// apart from package ingest, which the pure packages import, because the library
// that does the work brings a web server along. It imports nothing of ours.
package broker

import (
	"fmt"
	"log/slog"
	"net"
	"slices"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// Serve is a broker for one connection, until it ends: clients cannot touch each
// other, nor leave anything behind. A packet may have limit bytes. admit says
// whether a client may connect; take is given each message, and its sender is told
// that it has come only when take returns nil.
func Serve(conn net.Conn, limit int, admit func(user, word []byte) bool, take func(topic string, message []byte) error) error {
	capabilities := mqtt.NewDefaultServerCapabilities()
	capabilities.MaximumClients, capabilities.MaximumClientWritesPending = 1, 64
	capabilities.MaximumPacketSize = uint32(limit)
	capabilities.ReceiveMaximum, capabilities.MaximumInflight = 64, 64
	capabilities.TopicAliasMaximum, capabilities.MaximumSessionExpiryInterval = 16, 0
	capabilities.RetainAvailable, capabilities.SharedSubAvailable = 0, 0
	b := mqtt.New(&mqtt.Options{Capabilities: capabilities, Logger: slog.New(slog.DiscardHandler),
		ClientNetReadBufferSize: 4096, ClientNetWriteBufferSize: 1024})
	if err := b.AddHook(&hook{admit: admit, take: take}, nil); err != nil {
		return fmt.Errorf("serve MQTT: %w", err)
	}
	return b.EstablishConnection("", conn)
}

// hook is where the broker asks who may connect and hands over what comes.
type hook struct {
	mqtt.HookBase
	admit func(user, word []byte) bool
	take  func(topic string, message []byte) error
}

// ID implements mqtt.Hook.
func (h *hook) ID() string { return "padlark" }

// Provides implements mqtt.Hook.
func (h *hook) Provides(b byte) bool {
	return slices.Contains([]byte{mqtt.OnConnectAuthenticate, mqtt.OnACLCheck, mqtt.OnPublish, mqtt.OnConnect}, b)
}

// OnConnect lets no last will stand: it would tell of a board what it did not send.
func (h *hook) OnConnect(cl *mqtt.Client, _ packets.Packet) error {
	cl.Properties.Will = mqtt.Will{}
	cl.Properties.Clean = true
	cl.Properties.Props.SessionExpiryInterval = 0
	return nil
}

// OnConnectAuthenticate says whether a client may connect.
func (h *hook) OnConnectAuthenticate(_ *mqtt.Client, pk packets.Packet) bool {
	return h.admit(pk.Connect.Username, pk.Connect.Password)
}

// OnACLCheck lets clients publish only.
func (h *hook) OnACLCheck(_ *mqtt.Client, _ string, write bool) bool { return write }

// OnPublish takes a message.
func (h *hook) OnPublish(_ *mqtt.Client, pk packets.Packet) (packets.Packet, error) {
	if err := h.take(pk.TopicName, pk.Payload); err != nil {
		return pk, packets.ErrRejectPacket
	}
	return pk, nil
}
