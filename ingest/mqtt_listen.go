package ingest

import (
	"context"
	"crypto/subtle"
	"errors"
	"fmt"
	"net"
)

// reasonPassword: a client of padlark's broker did not know user and password.
const reasonPassword = "user or password"

// newMQTTListen is a broker for boards that publish: connections are accepted and
// bounded as tcp_listen does it, and each speaks MQTT. Nothing is handed on to
// other clients, nothing kept for those who are away.
func newMQTTListen(cfg LinkConfig, r runner, from senders) *tcpListenLink {
	l := &tcpListenLink{runner: r, addr: cfg.MQTTListen, from: from, what: "MQTT on TCP "}
	l.serve = func(_ context.Context, conn net.Conn, take func(Chunk) error) error {
		if l.env.ServeMQTT == nil {
			return errors.New("serve MQTT: there is no broker here")
		}
		word := ""
		if cfg.User != "" {
			var err error
			if word, err = ReadPassword(cfg.PasswordFile); err != nil {
				l.rep.words(StateUp, fmt.Sprintf("%s; boards are refused: %v", l.listening, err))
				return err
			}
		}
		admit := func(user, said []byte) bool {
			right := cfg.User == "" || subtle.ConstantTimeCompare([]byte(cfg.User), user)&subtle.ConstantTimeCompare([]byte(word), said) == 1
			if !right {
				l.rep.stats.addApart(reasonPassword, user, l.env.Clock.Now())
			}
			return right
		}
		return l.env.ServeMQTT(conn, cfg.frameLimit()+mqttExtra, admit, func(topic string, message []byte) error {
			heard := l.env.Clock.Now()
			if cfg.Topic != "" && !topicMatches(cfg.Topic, topic) {
				l.rep.stats.addApart(reasonOtherTopic, message, heard)
				return nil
			}
			return take(Chunk{Heard: heard, Bytes: message, Datagram: true, End: EndWhole})
		})
	}
	return l
}
