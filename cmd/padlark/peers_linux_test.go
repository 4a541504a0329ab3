package main

import (
	"bufio"
	"cmp"
	"context"
	"encoding/binary"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
)

// The peers of these tests are programs of Debian that we did not write. Each is
// given what somebody would send; what it makes of it must stand in the archive.

// peer is a station that listens to one link.
type peer struct {
	*process
	data string
}

// listenTo runs a station with so many links and what belongs to them, until all are
// open.
func listenTo(t *testing.T, links int, link string) *peer {
	t.Helper()
	data := filepath.Join(t.TempDir(), "data")
	cfg := writeConfig(t, fmt.Sprintf("[station]\nname = \"peers\"\ndata = %q\n[web]\nlisten = \"off\"\n%s\n[[rocket]]\nname = \"Teal\"\nid = 7\n[[rocket]]\nname = \"Rust\"\nid = 9\n", data, link))
	if out := do(t, "check", cfg); out.code != 0 {
		t.Fatalf("check: %s%s", out.out, out.err)
	}
	return &peer{startRunWhen(t, "state=up", links, cfg), data}
}

// heard stops the station when it has so many samples, and gives columns of them.
func (p *peer) heard(t *testing.T, least int, columns ...string) [][]string {
	t.Helper()
	await(t, p.data, fmt.Sprintf("SELECT COALESCE(SUM(count), 0) >= %d FROM sample_blocks", least))
	p.stop(t)
	rows, err := csv.NewReader(strings.NewReader(must(t, "export", "--data", p.data))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	// Rockets come one after the other; n is the order in which they were heard.
	n := slices.Index(rows[0], "n")
	slices.SortFunc(rows[1:], func(a, b []string) int {
		return cmp.Or(cmp.Compare(len(a[n]), len(b[n])), cmp.Compare(a[n], b[n]))
	})
	var out [][]string
	for _, row := range rows[1:] {
		var one []string
		for _, c := range columns {
			i := slices.IndexFunc(rows[0], func(head string) bool { return head == c || strings.HasPrefix(head, c+" ") }) // unit after it
			if i < 0 {
				t.Fatalf("no column %s in %v", c, rows[0])
			}
			one = append(one, row[i])
		}
		out = append(out, one)
	}
	return out
}

func tcpPort(t *testing.T) string {
	t.Helper()
	_, port, err := net.SplitHostPort(freeTCPPort(t))
	if err != nil {
		t.Fatal(err)
	}
	return port
}

// startPeer runs a program until the test ends; its output is said to say.
func startPeer(t *testing.T, stdin io.Reader, say func(line string), name string, args ...string) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Stdin = stdin
	cmd.WaitDelay = time.Second
	out, in := io.Pipe()
	cmd.Stdout, cmd.Stderr = in, in
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	read := make(chan struct{})
	go func() {
		defer close(read)
		for lines := bufio.NewScanner(out); lines.Scan(); {
			say(lines.Text())
		}
		_, _ = io.Copy(io.Discard, out)
	}()
	t.Cleanup(func() {
		cancel()
		_ = cmd.Wait() // it was killed
		in.Close()
		<-read
	})
}

// packets makes the audio of AX.25 packets at 22,050 samples a second.
func packets(t *testing.T, lines []string) []int16 {
	t.Helper()
	dir := t.TempDir()
	text, wav := filepath.Join(dir, "packets.txt"), filepath.Join(dir, "packets.wav")
	if err := os.WriteFile(text, []byte(strings.Join(lines, "\n")+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("gen_packets", "-r", "22050", "-o", wav, text).CombinedOutput(); err != nil {
		t.Fatalf("gen_packets: %v\n%s", err, out)
	}
	b, err := os.ReadFile(wav)
	if err != nil {
		t.Fatal(err)
	}
	b = b[44:] // after the header
	pcm := make([]int16, len(b)/2)
	for i := range pcm {
		pcm[i] = int16(binary.LittleEndian.Uint16(b[2*i:]))
	}
	return pcm
}

func bytesOf(pcm []int16) []byte {
	out := make([]byte, 0, 2*len(pcm))
	for _, v := range pcm {
		out = binary.LittleEndian.AppendUint16(out, uint16(v))
	}
	return out
}

// telemetry is a packet of ours: pressure, cell and a number.
func telemetry(source string, i int) string {
	return fmt.Sprintf("%s>APZ001:%d,%.2f,%d", source, 101325-7*i, 4.2-0.01*float64(i%50), i)
}

const packetLayouts = `
[[layout]]
name = "packet"
framing = "kiss"
form = "ax25"
sources = { "TEAL-1" = 7, "RUST-2" = 9 }
inner = "words"
[[layout]]
name = "words"
form = "delimited"
fields = [ { name = "pressure_pa" }, { name = "cell_v" }, { name = "seq" } ]
`

// Packets whose noise grows until most are lost, heard by a software modem that
// hands them on as KISS over TCP, or through a serial port of its own: every one that
// the modem reports is in the archive, with the same content and in the same order.
func TestDirewolf(t *testing.T) {
	need(t, "direwolf")
	need(t, "gen_packets")
	t.Parallel()
	t.Run("tcp", func(t *testing.T) {
		t.Parallel()
		port := tcpPort(t)
		// It says so for each client that it can take.
		ofDirewolf(t, 60, port, "Ready to accept KISS TCP client", func(string) string { return fmt.Sprintf("tnc = \"127.0.0.1:%s\"", port) })
	})
	t.Run("serial", func(t *testing.T) {
		t.Parallel()
		ofDirewolf(t, 20, "0", "Virtual KISS TNC is available on ", func(line string) string {
			_, path, _ := strings.Cut(line, "available on ")
			return fmt.Sprintf("serial = %q\nbaud = 9600", strings.TrimSpace(path))
		}, "-p")
	})
}

// ofDirewolf sends n packets through the modem. When it says that it is ready, link
// gives the address of the link.
func ofDirewolf(t *testing.T, n int, port, ready string, link func(line string) string, args ...string) {
	lines := make([]string, n+1)
	for i := range lines {
		lines[i] = telemetry([]string{"TEAL-1", "RUST-2"}[i%2], i)
	}
	pcm := packets(t, lines)
	rng := rand.New(rand.NewPCG(60, 1))
	last := len(pcm) * n / (n + 1) // the last is clean: it shows that the modem is through
	for i := range last - 22050/4 {
		v := float64(pcm[i])*0.5 + rng.NormFloat64()*8000*float64(i)/float64(last)
		pcm[i] = int16(max(min(v, 32767), -32768))
	}
	conf := filepath.Join(t.TempDir(), "direwolf.conf")
	text := fmt.Sprintf("ADEVICE stdin null\nARATE 22050\nACHANNELS 1\nCHANNEL 0\nMODEM 1200\nAGWPORT 0\nKISSPORT %s\n", port)
	if err := os.WriteFile(conf, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	audio, to := io.Pipe()
	defer to.Close()
	listens, through := make(chan string, 1), make(chan struct{})
	var reported [][]string
	packet := regexp.MustCompile(`^\[0[.0-9]*\] (TEAL-1|RUST-2)>APZ001:(\d+),([\d.]+),(\d+)`)
	startPeer(t, audio, func(line string) {
		if strings.Contains(line, ready) {
			select {
			case listens <- link(line):
			default:
			}
		}
		if m := packet.FindStringSubmatch(line); m != nil {
			reported = append(reported, []string{map[string]string{"TEAL-1": "Teal", "RUST-2": "Rust"}[m[1]], m[2], m[3], m[4]})
			if m[4] == fmt.Sprint(n) {
				close(through)
			}
		}
	}, "direwolf", append(args, "-c", conf, "-t", "0", "-q", "d", "-r", "22050", "-")...)
	var address string
	select {
	case address = <-listens:
	case <-time.After(60 * time.Second):
		t.Fatal("direwolf is not ready within a minute")
	}
	p := listenTo(t, 1, fmt.Sprintf("[[link]]\nname = \"packet\"\n%s\nlayout = \"packet\"\n", address)+packetLayouts)
	go func() {
		_, _ = to.Write(bytesOf(pcm))
		_, _ = to.Write(make([]byte, 4*22050)) // the modem decides a while later
	}()
	closes(t, through, "direwolf reports the last packet")
	got := p.heard(t, len(reported), "rocket", "pressure_pa", "cell_v", "seq")
	if len(reported) < n/4 || len(reported) == n+1 {
		t.Fatalf("the modem reports %d of %d packets: the noise is not as meant", len(reported), n+1)
	}
	if len(got) != len(reported) {
		t.Fatalf("%d packets in the archive, the modem reported %d", len(got), len(reported))
	}
	for i, want := range reported {
		if !sameRow(got[i], want) {
			t.Errorf("packet %d: %v, reported %v", i, got[i], want)
		}
	}
	t.Logf("%d of %d packets came through the noise", len(reported), n+1)
}

// sameRow compares by value: 4.20 is 4.2.
func sameRow(a, b []string) bool {
	return slices.EqualFunc(a, b, func(x, y string) bool {
		var v, w float64
		if n, _ := fmt.Sscan(x, &v); n == 1 {
			if m, _ := fmt.Sscan(y, &w); m == 1 {
				return math.Abs(v-w) < 1e-9
			}
		}
		return x == y
	})
}

func closes(t *testing.T, done <-chan struct{}, what string) {
	t.Helper()
	select {
	case <-done:
	case <-time.After(60 * time.Second):
		t.Fatalf("not within a minute: %s", what)
	}
}

// The same packets through another decoder that is a link's program.
func TestMultimon(t *testing.T) {
	need(t, "multimon-ng")
	need(t, "gen_packets")
	t.Parallel()
	const n = 12
	lines := make([]string, n)
	for i := range lines {
		lines[i] = telemetry("TEAL-1", i)
	}
	raw := filepath.Join(t.TempDir(), "packets.raw")
	if err := os.WriteFile(raw, bytesOf(packets(t, lines)), 0o644); err != nil {
		t.Fatal(err)
	}
	p := listenTo(t, 1, fmt.Sprintf(`
[[link]]
name = "sound"
command = ["multimon-ng", "-q", "-A", "-t", "raw", %q]
layout = "monitor"
[[layout]]
name = "monitor"
framing = "line"
form = "delimited"
prefix = "APRS: TEAL-1>APZ001:"
rocket = 7
fields = [ { name = "pressure_pa" }, { name = "cell_v" }, { name = "seq" } ]
`, raw))
	got := p.heard(t, n, "rocket", "pressure_pa", "cell_v", "seq")
	for i := range n { // then it begins anew
		if want := []string{"Teal", fmt.Sprint(101325 - 7*i), fmt.Sprintf("%.2f", 4.2-0.01*float64(i)), fmt.Sprint(i)}; !sameRow(got[i], want) {
			t.Errorf("packet %d: %v, want %v", i, got[i], want)
		}
	}
}

// On-off keyed pulses as cheap transmitters send them, through a general decoder
// that reports in JSON.
func TestRTL433(t *testing.T) {
	need(t, "rtl_433")
	t.Parallel()
	const n = 12
	file := filepath.Join(t.TempDir(), "teal_433.92M_250k.cu8")
	if err := os.WriteFile(file, pulses(n), 0o644); err != nil {
		t.Fatal(err)
	}
	p := listenTo(t, 1, fmt.Sprintf(`
[[link]]
name = "sdr"
command = ["rtl_433", "-c", "/dev/null", "-R", "0", "-r", %q, "-F", "json", "-X",
  "n=teal,m=OOK_PWM,s=200,l=400,r=5000,bits=48,get=@0:{24}:pressure,get=@24:{16}:cell,get=@40:{8}:seq"]
layout = "sdr"
[[layout]]
name = "sdr"
framing = "line"
form = "json"
rocket = 7
fields = [
  { name = "model", path = "/model", only = "teal", ignore = true },
  { name = "pressure_pa", path = "/rows/0/pressure" },
  { name = "cell_v", path = "/rows/0/cell", scale = 0.01 },
  { name = "seq", path = "/rows/0/seq" },
]
`, file))
	got := p.heard(t, n, "rocket", "pressure_pa", "cell_v", "seq")
	for i := range n {
		if want := []string{"Teal", fmt.Sprint(101325 - 111*i), fmt.Sprintf("%.2f", 3.98-0.01*float64(i)), fmt.Sprint(i)}; !sameRow(got[i], want) {
			t.Errorf("frame %d: %v, want %v", i, got[i], want)
		}
	}
}

// pulses are n frames as complex samples of 8 bits at 250 kHz: a short pulse is a
// one, a long one a zero, with a little noise of the receiver.
func pulses(n int) []byte {
	rng := rand.New(rand.NewPCG(433, 1))
	var out []byte
	send := func(us int, amplitude float64) {
		for range us / 4 {
			phase := 2 * math.Pi * 20e3 * float64(len(out)/2) / 250e3
			sin, cos := math.Sincos(phase)
			for _, v := range []float64{cos, sin} {
				out = append(out, byte(max(0, min(255, math.Round(127.5+amplitude*v+2*rng.NormFloat64())))))
			}
		}
	}
	send(50_000, 0)
	for i := range n {
		bits := fmt.Sprintf("%024b%016b%08b", 101325-111*i, 398-i, i)
		for _, b := range bits {
			on := 400
			if b == '1' {
				on = 200
			}
			send(on, 100)
			send(600-on, 0)
		}
		send(60_000, 0)
	}
	return out
}

// The computer's own receiver, through gpsd: as a rocket's, and as the station's own.
func TestGPSD(t *testing.T) {
	need(t, "gpsd")
	need(t, "gpsfake")
	t.Parallel()
	var log strings.Builder
	sentence := func(format string, args ...any) {
		body := fmt.Sprintf(format, args...)
		sum := byte(0)
		for i := range len(body) {
			sum ^= body[i]
		}
		fmt.Fprintf(&log, "$%s*%02X\r\n", body, sum)
	}
	for i := range 40 {
		at, north := fmt.Sprintf("1200%02d.00", i), 5206+float64(i)*0.001
		sentence("GPRMC,%s,A,%.4f,N,00518.0000,E,3.0,90.0,300526,,,A", at, north)
		sentence("GPGGA,%s,%.4f,N,00518.0000,E,1,08,0.9,%d.0,M,46.0,M,,", at, north, 20+i)
	}
	file := filepath.Join(t.TempDir(), "walk.nmea")
	if err := os.WriteFile(file, []byte(log.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	port := tcpPort(t)
	startPeer(t, nil, func(string) {}, "gpsfake", "-c", "0.02", "-P", port, file)
	p := listenTo(t, 2, fmt.Sprintf("[site]\nreceiver = \"own\"\n[[link]]\nname = \"own\"\ngpsd = \"127.0.0.1:%s\"\nlayout = \"gpsd\"\n"+
		"[[link]]\nname = \"walk\"\ngpsd = \"127.0.0.1:%[1]s\"\nlayout = \"gpsd\"\nrocket = \"Teal\"\n", port))
	got := p.heard(t, 60, "rocket", "clock", "latitude_deg", "longitude_deg", "gps_altitude_m")
	whole, untimed, whose := 0, 0, map[string]int{}
	for _, row := range got {
		var clock int64
		var lat, lon float64
		fmt.Sscan(row[1], &clock)
		fmt.Sscan(row[2], &lat)
		fmt.Sscan(row[3], &lon)
		i := clock / 1e6 % 60 // seconds of the minute
		if row[1] == "" {     // the file has ended and begins anew: gpsd does not know the time then
			untimed++
			continue
		}
		if whose[row[0]]++; math.Abs(lat-(52.1+float64(i)*0.001/60)) > 1e-7 || lon != 5.3 {
			t.Errorf("%v, want second %d of the walk", row, i)
		}
		if row[4] == fmt.Sprint(20+i) {
			whole++
		}
	}
	if untimed > len(got)/10 {
		t.Errorf("%d of %d reports have no time", untimed, len(got))
	}
	if whose["Teal"] < 20 || whose["station"] < 20 || len(whose) != 2 {
		t.Errorf("whose the reports are: %v", whose)
	}
	if whole < len(got)/3 {
		t.Errorf("%d of %d reports have the height that was sent", whole, len(got))
	}
}

// Debian's broker in between, and Debian's publisher to padlark's own broker.
func TestMosquitto(t *testing.T) {
	need(t, "mosquitto")
	need(t, "mosquitto_pub")
	t.Parallel()
	words := filepath.Join(t.TempDir(), "word")
	if err := os.WriteFile(words, []byte("larks rise\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	const layout = "layout = \"board\"\n[[layout]]\nname = \"board\"\nframing = \"datagram\"\nform = \"json\"\nrocket = 7\n" +
		"fields = [ { name = \"pressure_pa\", path = \"/p\", unit = \"hPa\" }, { name = \"seq\", path = \"/n\" } ]\n"
	publish := func(port string, args ...string) {
		t.Helper()
		for i := range 5 {
			all := append([]string{"-h", "127.0.0.1", "-p", port, "-q", "1", "-t", "rockets/teal",
				"-m", fmt.Sprintf(`{"p": %g, "n": %d}`, 1013.25-float64(i), i)}, args...)
			if out, err := exec.Command("mosquitto_pub", all...).CombinedOutput(); err != nil {
				t.Fatalf("mosquitto_pub: %v\n%s", err, out)
			}
		}
	}
	same := func(got [][]string) {
		t.Helper()
		for i, row := range got {
			if want := []string{"Teal", fmt.Sprint(101325 - 100*i), fmt.Sprint(i)}; !sameRow(row, want) {
				t.Errorf("message %d: %v, want %v", i, row, want)
			}
		}
	}
	t.Run("broker between", func(t *testing.T) {
		port := tcpPort(t)
		conf := filepath.Join(t.TempDir(), "mosquitto.conf")
		if err := os.WriteFile(conf, fmt.Appendf(nil, "listener %s 127.0.0.1\nallow_anonymous true\n", port), 0o644); err != nil {
			t.Fatal(err)
		}
		startPeer(t, nil, func(string) {}, "mosquitto", "-c", conf)
		p := listenTo(t, 1, fmt.Sprintf("[[link]]\nname = \"gate\"\nmqtt = \"127.0.0.1:%s\"\ntopic = \"rockets/+\"\n", port)+layout)
		publish(port)
		same(p.heard(t, 5, "rocket", "pressure_pa", "seq"))
	})
	t.Run("broker inside", func(t *testing.T) {
		port := tcpPort(t)
		p := listenTo(t, 1, fmt.Sprintf("[[link]]\nname = \"gate\"\nmqtt_listen = \"127.0.0.1:%s\"\ntopic = \"rockets/#\"\nuser = \"field\"\npassword_file = %q\n", port, words)+layout)
		if out, err := exec.Command("mosquitto_pub", "-h", "127.0.0.1", "-p", port, "-t", "rockets/teal", "-m", "x", "-u", "field", "-P", "wrong").CombinedOutput(); err == nil {
			t.Errorf("taken with a wrong password: %s", out)
		}
		publish(port, "-u", "field", "-P", "larks rise")
		same(p.heard(t, 5, "rocket", "pressure_pa", "seq"))
	})
}
