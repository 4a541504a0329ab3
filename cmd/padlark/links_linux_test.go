package main

import (
	"encoding/binary"
	"fmt"
	"net"
	"os"
	"strings"
	"testing"

	"github.com/nats-io/nats.go"
)

// spacePacket is a telemetry packet of CCSDS 133.0-B with pressure in its data and
// the CRC-16 that such packets have (poly 0x1021, preset to ones).
func spacePacket(count int, pressure uint32) []byte {
	b := []byte{0x01, 0x23, 0xc0 | byte(count>>8&0x3f), byte(count), 0, 5}
	b = binary.BigEndian.AppendUint32(b, pressure)
	crc := uint16(0xffff)
	for _, x := range b {
		crc ^= uint16(x) << 8
		for range 8 {
			if crc&0x8000 != 0 {
				crc = crc<<1 ^ 0x1021
			} else {
				crc <<= 1
			}
		}
	}
	return binary.BigEndian.AppendUint16(b, crc)
}

const spaceLayouts = `
[[layout]]
name = "%[1]s"
framing = %[2]s
form = "spacepacket"
apid = [0x123]
rocket = %[3]d
checksum = "CRC-16/IBM-3740"
inner = "%[1]s-data"
[[layout]]
name = "%[1]s-data"
form = "binary"
endian = "big"
fields = [ { name = "pressure_pa", type = "u32" } ]
`

// Space packets as datagrams, one after the other over TCP (with garbage between
// them, which only the CRC tells from packets), and behind sync marks in noise.
func TestSpacePacketLinks(t *testing.T) {
	t.Parallel()
	const n = 20
	udp, bare, marked := tcpPort(t), tcpPort(t), tcpPort(t)
	header := `length_at = 4, length_bytes = 2, length_endian = "big", length_add = 1 }`
	p := listenTo(t, 3, fmt.Sprintf(`
[[link]]
name = "datagrams"
udp = "127.0.0.1:%s"
layout = "datagram"
[[link]]
name = "bare"
tcp_listen = "127.0.0.1:%s"
layout = "bare"
frame_limit = 32
[[link]]
name = "marked"
tcp_listen = "127.0.0.1:%s"
layout = "marked"
`, udp, bare, marked)+fmt.Sprintf(spaceLayouts, "datagram", `"datagram"`, 7)+
		fmt.Sprintf(spaceLayouts, "bare", `{ kind = "sync", `+header, 9)+
		fmt.Sprintf(spaceLayouts, "marked", `{ kind = "sync", sync = "1A CF FC 1D", `+header, 11))
	for _, c := range []struct {
		network, port   string
		before, between []byte
	}{
		{"udp", udp, nil, nil},
		{"tcp", bare, nil, []byte{0x01, 0x23, 0xff, 0xff, 0, 9, 1}}, // begins as a packet does
		{"tcp", marked, []byte{0x1a, 0xcf, 0xfc, 0x1d}, []byte("noise \x1a\xcf")},
	} {
		conn, err := net.Dial(c.network, "127.0.0.1:"+c.port)
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		for i := range n {
			b := append(append([]byte(nil), c.before...), spacePacket(i, uint32(101325-i))...)
			if i%5 == 4 {
				b = append(b, c.between...)
			}
			if _, err := conn.Write(b); err != nil {
				t.Fatal(err)
			}
		}
	}
	count := map[string]int{}
	for _, row := range p.heard(t, 3*n, "link", "rocket", "seq", "pressure_pa") {
		i := count[row[0]]
		if want := []string{row[0], map[string]string{"datagrams": "Teal", "bare": "Rust", "marked": "id-11"}[row[0]], fmt.Sprint(i), fmt.Sprint(101325 - i)}; !sameRow(row, want) {
			t.Errorf("%v, want %v", row, want)
		}
		count[row[0]]++
	}
	for _, link := range []string{"datagrams", "bare", "marked"} {
		if count[link] != n {
			t.Errorf("%d of %d packets of link %s", count[link], n, link)
		}
	}
}

// Two boards on one port, told apart by how their lines begin, and a program of
// one's own that hands on what its board sent by the station's bus.
func TestTwoBoardsAndTheBus(t *testing.T) {
	t.Parallel()
	word := t.TempDir() + "/word"
	if err := os.WriteFile(word, []byte("field-token\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	port, bus := tcpPort(t), tcpPort(t)
	p := listenTo(t, 2, fmt.Sprintf(`
[bus]
listen = "127.0.0.1:%s"
token_file = %q
[[link]]
name = "port"
tcp_listen = "127.0.0.1:%s"
layout = "teal"
also = ["rust"]
[[link]]
name = "own"
nats = "boards.*"
layout = "plum"
[[layout]]
name = "plum"
framing = "datagram"
form = "delimited"
prefix = "P;"
separator = ";"
rocket = 11
fields = [ { name = "pressure_pa" }, { name = "clock", unit = "s" } ]
[[layout]]
name = "teal"
framing = "line"
form = "delimited"
prefix = "T,"
rocket = 7
fields = [ { name = "clock", unit = "ms" }, { name = "pressure_pa", unit = "hPa" } ]
[[layout]]
name = "rust"
framing = "line"
form = "delimited"
prefix = "R;"
separator = ";"
rocket = 9
fields = [ { name = "pressure_pa" }, { name = "clock", unit = "s" } ]
`, bus, word, port))
	conn, err := net.Dial("tcp", "127.0.0.1:"+port)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	const n = 10
	for i := range n {
		if _, err := fmt.Fprintf(conn, "T,%d,%.2f\nR;%d;%.1f\n", 1000+100*i, 1013.25-float64(i), 99000+i, 50+0.1*float64(i)); err != nil {
			t.Fatal(err)
		}
	}
	nc, err := nats.Connect("nats://127.0.0.1:"+bus, nats.Token("field-token"))
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	for i := range n {
		if err := nc.Publish("boards.plum", fmt.Appendf(nil, "P;%d;%.1f", 98000+i, 60+0.1*float64(i))); err != nil {
			t.Fatal(err)
		}
	}
	if err := nc.Flush(); err != nil {
		t.Fatal(err)
	}
	got := map[string][]string{}
	for _, row := range p.heard(t, 3*n, "link", "rocket", "pressure_pa", "clock") {
		key := row[0] + " " + row[1]
		got[key] = append(got[key], row[2]+" "+row[3])
	}
	for key, first := range map[string]string{"port Teal": "101325 1000000", "port Rust": "99000 50000000", "own id-11": "98000 60000000"} {
		if len(got[key]) != n || got[key][0] != first {
			t.Errorf("%s: %s", key, strings.Join(got[key], ", "))
		}
	}
	if len(got) != 3 {
		t.Errorf("heard of %v", got)
	}
}
