package ready

import (
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/user"
	"strings"
	"time"

	"padlark/ingest"
)

// answerWithin is how long another computer may take to answer.
const answerWithin = 2 * time.Second

// links looks at the ports and sockets from which frames come.
func (l *look) links() {
	ports, err := ingest.Ports()
	if err != nil {
		l.say("serial ports", Look, fmt.Sprintf("cannot be listed: %v", err), "run padlark ports")
	}
	for _, c := range l.cfg.Links {
		part := "link " + c.Name
		switch c.Kind() {
		case "serial":
			l.device(part, c.Serial)
		case "usb":
			l.usb(part, *c.USB, ports)
		case "udp":
			l.binds(part, "udp", c.UDP)
		case "tcp_listen":
			l.binds(part, "tcp", c.TCPListen)
		case "tcp":
			l.answers(part, c.TCP)
		case "tnc":
			l.answers(part, c.TNC)
		case "file":
			if _, err := os.Stat(c.File); err != nil {
				l.say(part, Bad, plain(err), "correct file, or bring the file there")
				continue
			}
			l.say(part, Good, "the file is there", "")
		default:
			l.say(part, Good, c.Address()+": nothing to look at beforehand", "")
		}
	}
}

// device looks at a serial port without opening it.
func (l *look) device(part, path string) {
	st, err := os.Stat(path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		l.say(part, Bad, "there is no "+path, "plug it in; padlark ports lists what is there")
	case err != nil:
		l.say(part, Bad, plain(err), "correct serial")
	case st.Mode()&os.ModeCharDevice == 0 && st.Mode()&os.ModeNamedPipe == 0:
		l.say(part, Bad, path+" is no port", "correct serial; padlark ports lists what is there")
	case !mayUse(path):
		l.say(part, Bad, path+" is there, but this user may not use it", "usermod -aG "+groupOf(st, "dialout")+" "+me()+", then sign in again")
	default:
		l.say(part, Good, path+" is there and may be used", "")
	}
}

// usb looks for the adapter with an identity.
func (l *look) usb(part string, id ingest.USBID, ports []ingest.Port) {
	var found []string
	for _, p := range ports {
		if id.Matches(p) {
			found = append(found, p.Path)
		}
	}
	switch len(found) {
	case 0:
		l.say(part, Bad, "no port has "+id.String(), "plug it in; padlark ports lists what is there")
	case 1:
		l.device(part, found[0])
	default:
		l.say(part, Bad, fmt.Sprintf("%d ports have %s: %s", len(found), id, strings.Join(found, ", ")), "add the serial number to usb")
	}
}

// binds looks whether an address is free to listen on.
func (l *look) binds(part, network, addr string) {
	if l.opt.Running {
		l.say(part, Good, network+" "+addr+": the station listens there", "")
		return
	}
	var err error
	if network == "udp" {
		var c net.PacketConn
		if host, _, splitErr := net.SplitHostPort(addr); splitErr == nil && net.ParseIP(host).IsMulticast() {
			addr = addr[len(host):] // the group is joined on the port
		}
		if c, err = net.ListenPacket("udp", addr); err == nil {
			err = c.Close()
		}
	} else {
		var s net.Listener
		if s, err = net.Listen("tcp", addr); err == nil {
			err = s.Close()
		}
	}
	if err != nil {
		l.say(part, Bad, network+" "+addr+" cannot be listened on: "+plain(err), "choose another port, or stop the program that has it (ss -lunpt shows which)")
		return
	}
	l.say(part, Good, network+" "+addr+" is free", "")
}

// answers looks whether another computer takes a connection.
func (l *look) answers(part, addr string) {
	if l.opt.Running {
		l.say(part, Good, addr+": the page Links says how it is", "")
		return
	}
	d := net.Dialer{Timeout: answerWithin}
	c, err := d.DialContext(l.ctx, "tcp", addr)
	if err != nil {
		l.say(part, Look, addr+" does not answer: "+plain(err), "switch it on; the station tries again by itself")
		return
	}
	_ = c.Close() // nothing was sent
	l.say(part, Good, addr+" answers", "")
}

// sound looks at the program that speaks.
func (l *look) sound() {
	cmd := l.cfg.Callout.Command
	if len(cmd) == 0 {
		l.say("sound", Look, "this computer does not speak: no callout.command", "rely on the pages' sound, or set callout.command")
		return
	}
	if _, err := exec.LookPath(cmd[0]); err != nil {
		l.say("sound", Bad, "the program "+cmd[0]+" is not there", "install it, or correct callout.command")
		return
	}
	cards, err := l.system("proc/asound/cards")
	if err != nil || strings.Contains(cards, "no soundcards") {
		l.say("sound", Look, cmd[0]+" is there, but this computer shows no sound card", "plug in a speaker, and listen to: "+strings.Join(cmd, " ")+" ready")
		return
	}
	l.say("sound", Good, cmd[0]+" and a sound card are there; listen once yourself", "")
}

// me is the name of the user, for a command to copy.
func me() string {
	if u, err := user.Current(); err == nil {
		return u.Username
	}
	return "USER"
}

// plain is what an error says, without the path or address that stands beside
// it.
func plain(err error) string {
	var path *os.PathError
	var op *net.OpError
	switch {
	case errors.As(err, &path):
		return path.Err.Error()
	case errors.As(err, &op):
		return op.Err.Error()
	}
	return err.Error()
}
