package config

import (
	"encoding/json"
	"fmt"
	"net"
	"net/url"
	"strconv"
)

// port reads host and port of an address to listen on. A port's name would be
// looked up on the machine that runs, so it must be a number.
func port(addr string) (host string, n int, err error) {
	host, text, err := net.SplitHostPort(addr)
	if err != nil {
		return "", 0, err
	}
	v, err := strconv.ParseUint(text, 10, 16)
	if err != nil {
		return "", 0, fmt.Errorf("port %q is not a number from 0 to 65535", text)
	}
	return host, int(v), nil
}

// used is an address that something listens on.
type used struct {
	path, what, proto, host string
	port                    int
}

// checkPorts finds two things that listen on one port, or read one device.
func (c *Config) checkPorts() *problem {
	var all []used
	add := func(path, what, proto, addr string) {
		// An address that is no address was told of before.
		if host, n, err := port(addr); err == nil && n != 0 {
			if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
				host = "" // all of this computer's
			} else if ip != nil && ip.IsMulticast() {
				return // several may join a group
			}
			all = append(all, used{path, what, proto, host, n})
		}
	}
	devices := map[string]string{}
	for i, l := range c.Links {
		table, what := fmt.Sprintf("link[%d]", i), fmt.Sprintf("link %q", l.Name)
		add(table+".udp", what, "udp", l.UDP)
		add(table+".tcp_listen", what, "tcp", l.TCPListen)
		add(table+".mqtt_listen", what, "tcp", l.MQTTListen)
		if l.Serial == "" {
			continue
		}
		if other, taken := devices[l.Serial]; taken {
			return problemf(table+".serial", "%s and %s both read %s: remove one", other, what, l.Serial)
		}
		devices[l.Serial] = what
	}
	if c.Web.Listen != "off" {
		add("web.listen", "[web]", "tcp", c.Web.Listen)
	}
	add("bus.listen", "[bus]", "tcp", c.Bus.Listen)
	for i, a := range all {
		for _, b := range all[:i] {
			if a.proto == b.proto && a.port == b.port && (a.host == b.host || a.host == "" || b.host == "") {
				return problemf(a.path, "%s and %s both listen on %s port %d: give one of them another", b.what, a.what, a.proto, a.port)
			}
		}
	}
	return nil
}

// checkURL says whether a key holds an address of one of some kinds.
func checkURL(path, raw, example string, schemes ...string) *problem {
	u, err := url.Parse(raw)
	if err == nil && u.Host != "" {
		for _, s := range schemes {
			if u.Scheme == s {
				return nil
			}
		}
	}
	return problemf(path, "%s is not an address like %s", path, example)
}

// checkNumbers finds what is no finite number in any table: nan and inf are TOML,
// and nothing that computes or tells of a rocket can do with them.
func (c *Config) checkNumbers() *problem {
	tables := []struct {
		path string
		v    any
	}{{"site", c.Site}, {"alarm", c.Alarm}, {"callout", c.Callout}, {"bus", c.Bus}}
	for i, r := range c.Rockets {
		tables = append(tables, struct {
			path string
			v    any
		}{fmt.Sprintf("rocket[%d]", i), r})
	}
	for _, t := range tables {
		// JSON has no form for them, and it knows every field.
		if _, err := json.Marshal(t.v); err != nil {
			return problemf(t.path, "%s holds a number that is none (nan or inf): give one, or leave it out", t.path)
		}
	}
	return nil
}
