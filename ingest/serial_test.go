//go:build linux

package ingest

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/creack/pty"
	"go.bug.st/serial"
)

// cable is a pseudo-terminal: what is written to its far end is heard on the
// port at path.
type cable struct {
	far  *os.File
	path string
}

func newCable(t *testing.T) *cable {
	t.Helper()
	far, near, err := pty.Open()
	if err != nil {
		if os.Getenv("PADLARK_CI") == "1" {
			t.Fatalf("no pseudo-terminals: %v", err)
		}
		t.Skipf("no pseudo-terminals: %v", err)
	}
	c := &cable{far, near.Name()}
	// The link is to be the only one that has it open.
	if err := near.Close(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.pull)
	return c
}

// pull takes the device away, as pulling its plug does.
func (c *cable) pull() { _ = c.far.Close() }

func (c *cable) send(t *testing.T, s string) {
	t.Helper()
	if _, err := c.far.WriteString(s); err != nil {
		t.Fatal(err)
	}
}

// plug makes name a link to the device, in one step.
func plug(t *testing.T, name, device string) {
	t.Helper()
	if err := os.Symlink(device, name+".new"); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(name+".new", name); err != nil {
		t.Fatal(err)
	}
}

var lines = Framing{Kind: FramingLine}

func TestSerialPulledAndPutBack(t *testing.T) {
	port := filepath.Join(t.TempDir(), "radio")
	first := newCable(t)
	plug(t, port, first.path)
	r := start(t, LinkConfig{Name: "pad-radio", Serial: port, Baud: 9600}, lines, Env{})
	r.state(StateUp, port+" open at 9600 baud")
	before := r.env.Clock.Now()
	first.send(t, "one\r\n")
	f := r.frame("one")
	after := r.env.Clock.Now()
	if f.N != 1 || f.Link != "pad-radio" || f.Baud != 9600 || f.Wire != 4 || f.RSSI != nil {
		t.Errorf("frame %+v", f)
	}
	if m := time.Duration(f.Mono); m < before || m > after || !f.Heard.Equal(r.env.Clock.At(m)) {
		t.Errorf("heard at %v and %v, want between %v and %v", f.Heard, m, before, after)
	}
	first.send(t, "half a l")
	r.waitBytes(len("one\r\nhalf a l"))

	first.pull()
	r.state(StateWaiting, "went away: plug it in again")
	if err := os.Remove(port); err != nil {
		t.Fatal(err)
	}
	r.words("is not there: plug it in")
	// Let the pauses grow: at 3 s begins one of 3.2 s, longer than the two
	// seconds that are promised.
	for r.pauses() < 3400*time.Millisecond {
		time.Sleep(50 * time.Millisecond) // real time has to pass here
	}
	second := newCable(t)
	plug(t, port, second.path)
	back := time.Now()
	r.state(StateUp, "open")
	second.send(t, "ine\r\ntwo\r\n")
	r.frame("ine")
	if took := time.Since(back); took > 2*time.Second {
		t.Errorf("it took %v to hear again, at most 2 s wanted", took)
	} else {
		t.Logf("heard again %v after the cable was put back", took)
	}
	if f := r.frame("two"); f.N != 3 {
		t.Errorf("frame %d, want 3", f.N)
	}
	h := r.Health()
	if h.Restarts != 1 || h.Bad[reasonCut] != 1 || h.Frames != 3 || h.State != StateUp || h.LastHeard == nil {
		t.Errorf("health %+v", h)
	}
	if n := len(h.Rejected); n != 1 || string(h.Rejected[0].Bytes) != "half a l" {
		t.Errorf("rejected %+v, want the half line", h.Rejected)
	}
	if n := len(r.states); n != 0 {
		t.Errorf("%d more changes of state were told", n)
	}
	r.stop()
	r.state(StateDown, "stopped")
}

// waitBytes waits until so many bytes were heard.
func (r *running) waitBytes(n int) {
	r.t.Helper()
	for deadline := time.Now().Add(patience); r.Health().Bytes < uint64(n); {
		if time.Now().After(deadline) {
			r.t.Fatalf("%d bytes heard, want %d", r.Health().Bytes, n)
		}
		time.Sleep(time.Millisecond) // Health has no event to wait for
	}
}

// pauses is how long the link has been waiting.
func (r *running) pauses() time.Duration {
	h := r.Health()
	return h.At.Sub(*h.LastHeard)
}

// A read that waits for bytes that never come ends with the context.
func TestSerialBlockedReadStops(t *testing.T) {
	c := newCable(t)
	r := start(t, LinkConfig{Name: "pad-radio", Serial: c.path, Baud: 57600, DataBits: 7, Parity: "even", StopBits: 2}, lines, Env{})
	r.state(StateUp, "open at 57600 baud")
	r.stop()
}

// A port that waits for its device ends with the context too.
func TestSerialMissingStops(t *testing.T) {
	r := start(t, LinkConfig{Name: "pad-radio", Serial: filepath.Join(t.TempDir(), "none"), Baud: 9600}, lines, Env{})
	r.state(StateWaiting, "is not there: plug it in, or correct the path")
	r.stop()
}

func TestSerialNotAPort(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notes.txt")
	if err := os.WriteFile(path, []byte("hello"), 0o600); err != nil {
		t.Fatal(err)
	}
	r := start(t, LinkConfig{Name: "pad-radio", Serial: path, Baud: 9600}, lines, Env{})
	r.state(StateWaiting, "open "+path)
	r.stop()
}

func TestExplainSerial(t *testing.T) {
	for _, tc := range []struct {
		err  error
		want string
	}{
		{fs.ErrPermission, "add the user to the group"},
		{fs.ErrNotExist, "plug it in"},
		{errors.New("odd"), "open /dev/x: odd"},
	} {
		if got := explainSerial("/dev/x", tc.err).Error(); !contains(got, tc.want) {
			t.Errorf("%v: %q, want %q in it", tc.err, got, tc.want)
		}
	}
}

func TestSerialMode(t *testing.T) {
	l := newSerialLink(LinkConfig{Baud: 4800, DataBits: 5, Parity: "space", StopBits: 1.5}, runner{})
	want := serial.Mode{BaudRate: 4800, DataBits: 5, Parity: serial.SpaceParity, StopBits: serial.OnePointFiveStopBits}
	if l.mode != want {
		t.Errorf("mode %+v, want %+v", l.mode, want)
	}
}

// fakeUSB is a tree like the kernel's, with devices that can be put in.
type fakeUSB struct {
	t    *testing.T
	root string
}

func newFakeUSB(t *testing.T) *fakeUSB {
	root := t.TempDir()
	for _, dir := range []string{"sys/class/tty", "sys/devices", "dev"} {
		if err := os.MkdirAll(filepath.Join(root, dir), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	return &fakeUSB{t, root}
}

func (u *fakeUSB) env() Env {
	return Env{sysfs: filepath.Join(u.root, "sys"), dev: filepath.Join(u.root, "dev")}
}

func (u *fakeUSB) write(path, text string) {
	u.t.Helper()
	path = filepath.Join(u.root, path)
	if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o700), os.WriteFile(path, []byte(text+"\n"), 0o600)); err != nil {
		u.t.Fatal(err)
	}
}

func (u *fakeUSB) link(target, path string) {
	u.t.Helper()
	path = filepath.Join(u.root, path)
	if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o700), os.Symlink(target, path)); err != nil {
		u.t.Fatal(err)
	}
}

// put plugs an adapter in: the tty's device link leads to the interface
// directory, a level or two under the USB device that has the numbers.
func (u *fakeUSB) put(tty, vid, pid, serialNo, device string) {
	usb := "sys/devices/usb1/" + tty
	u.write(usb+"/idVendor", vid)
	u.write(usb+"/idProduct", pid)
	if serialNo != "" {
		u.write(usb+"/serial", serialNo)
	}
	u.write(usb+"/product", "Radio of "+tty)
	u.write(usb+"/1-1:1.0/"+tty+"/port_number", "0")
	if device != "" {
		u.link(device, "dev/"+tty)
	}
	u.link(filepath.Join(u.root, usb, "1-1:1.0", tty), "sys/class/tty/"+tty+"/device")
}

func (u *fakeUSB) remove(tty string) {
	u.t.Helper()
	for _, path := range []string{"sys/class/tty/" + tty, "sys/devices/usb1/" + tty, "dev/" + tty} {
		if err := os.RemoveAll(filepath.Join(u.root, path)); err != nil {
			u.t.Fatal(err)
		}
	}
}

// An adapter that comes back under another name is found by its identity.
func TestSerialByUSBIdentityRenamed(t *testing.T) {
	usb := newFakeUSB(t)
	first := newCable(t)
	usb.put("ttyUSB0", "10c4", "ea60", "0001", first.path)
	usb.put("ttyUSB1", "10c4", "ea60", "0002", "")
	r := start(t, LinkConfig{Name: "pad-radio", USB: &USBID{VID: "10C4", PID: "EA60", Serial: "0001"}, Baud: 9600}, lines, usb.env())
	r.state(StateUp, "dev/ttyUSB0 open")
	first.send(t, "one\n")
	r.frame("one")

	usb.remove("ttyUSB0")
	first.pull()
	r.state(StateWaiting, "went away")
	second := newCable(t)
	usb.put("ttyUSB2", "10c4", "ea60", "0001", second.path)
	back := time.Now()
	r.state(StateUp, "dev/ttyUSB2 open")
	second.send(t, "two\n")
	r.frame("two")
	if took := time.Since(back); took > 2*time.Second {
		t.Errorf("it took %v to hear again, at most 2 s wanted", took)
	}
	r.stop()
}

func TestPortsAndFind(t *testing.T) {
	usb := newFakeUSB(t)
	usb.put("ttyUSB10", "10c4", "ea60", "", "")
	usb.put("ttyUSB2", "10c4", "ea60", "", "")
	usb.put("ttyACM0", "2341", "0043", "A5", "")
	usb.write("sys/class/tty/tty1/active", "x") // a console: no device
	usb.write("sys/devices/pnp/id", "x")
	for tty, kind := range map[string]string{"ttyS0": "4", "ttyS1": "0"} {
		usb.write("sys/class/tty/"+tty+"/type", kind)
		usb.link(filepath.Join(usb.root, "sys/devices/pnp"), "sys/class/tty/"+tty+"/device")
	}
	ports, err := listPorts(usb.env())
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, p := range ports {
		text := filepath.Base(p.Path)
		if p.USB != nil {
			text += " " + p.USB.String() + " " + p.Product
		}
		got = append(got, text)
	}
	want := []string{
		"ttyACM0 USB vid 2341, pid 0043, serial A5 Radio of ttyACM0",
		"ttyS0",
		"ttyUSB2 USB vid 10C4, pid EA60 Radio of ttyUSB2",
		"ttyUSB10 USB vid 10C4, pid EA60 Radio of ttyUSB10",
	}
	diffStrings(t, want, got)

	for _, tc := range []struct {
		id   USBID
		path string
		want string
	}{
		{USBID{VID: "2341"}, "ttyACM0", ""},
		{USBID{Serial: "A5"}, "ttyACM0", ""},
		{USBID{Product: "radio of ttyusb2"}, "ttyUSB2", ""},
		{USBID{Product: "Radio"}, "", "3 ports have USB name Radio"},
		{USBID{Product: "Scale"}, "", "no port has USB name Scale: plug it in"},
		{USBID{VID: "10c4", PID: "ea60"}, "", "2 ports have USB vid 10c4, pid ea60"},
		{USBID{VID: "1234"}, "", "no port has USB vid 1234: plug it in"},
	} {
		path, err := findUSB(usb.env(), tc.id)
		if tc.want == "" && (err != nil || filepath.Base(path) != tc.path) {
			t.Errorf("%v: %q and %v, want %q", tc.id, path, err, tc.path)
		}
		if tc.want != "" && (err == nil || !contains(err.Error(), tc.want)) {
			t.Errorf("%v: %v, want %q in it", tc.id, err, tc.want)
		}
	}
	if ports, err := listPorts(Env{sysfs: "/none", dev: "/none"}); err != nil || len(ports) != 0 {
		t.Errorf("without a list of devices: %v and %v", ports, err)
	}
	if _, err := Ports(); err != nil {
		t.Errorf("this computer's ports: %v", err)
	}
}
