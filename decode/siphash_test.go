package decode

import (
	"encoding/binary"
	"errors"
	"strings"
	"testing"
	"time"
)

// The example worked out in the paper, appendix A: the key 00 01 … 0f, the
// message 00 01 … 0e (Aumasson and Bernstein, INDOCRYPT 2012). The first of its
// reference implementation's table, for no bytes, is from memory.
func TestSipHash(t *testing.T) {
	var key, message []byte
	for i := range 16 {
		key = append(key, byte(i))
	}
	message = append(message, key[:15]...)
	k0, k1 := binary.LittleEndian.Uint64(key), binary.LittleEndian.Uint64(key[8:])
	if got := sipHash(k0, k1, message); got != 0xa129ca6149be45e5 {
		t.Errorf("%x", got)
	}
	if got := sipHash(k0, k1, nil); got != 0x726fdb47dd0e0e31 {
		t.Errorf("of nothing: %x", got)
	}
}

const sealedLayouts = `
[[layout]]
name = "sealed-text"
framing = "line"
form = "nmea"
address = "PLRK"
checksum = { kind = "SipHash-2-4/32", key_file = "key" }
fields = [ { name = "rocket" }, { name = "seq" }, { name = "clock", unit = "ms" }, { name = "pressure_pa" } ]
[[layout]]
name = "sealed-bin"
framing = "cobs"
form = "binary"
checksum = { kind = "SipHash-2-4/32", key_file = "key" }
fields = [ { name = "rocket", type = "u8" }, { name = "seq", type = "u16" }, { name = "clock", unit = "ms", type = "u32" }, { name = "pressure_pa", type = "u32" } ]
`

// A frame made with the key is taken; one with any bit changed, made with another
// key, or read without a key is not, and no reject tells what would be right.
func TestSealedFrames(t *testing.T) {
	key := []byte("0123456789abcdef")
	with := func(key []byte) (*Decoder, map[string]*Program) {
		ls := layouts(t, sealedLayouts)
		programs := map[string]*Program{}
		cfg := Config{}
		for i := range ls {
			ls[i].Checksum.Key = key
			p, err := Compile(ls[i], ls)
			if err != nil {
				t.Fatal(err)
			}
			programs[ls[i].Name] = p
			cfg.Links = append(cfg.Links, LinkLayouts{Link: ls[i].Name, Layouts: []string{ls[i].Name}})
		}
		cfg.Layouts = ls
		d, err := New(cfg)
		if err != nil {
			t.Fatal(err)
		}
		return d, programs
	}
	d, programs := with(key)
	other, _ := with([]byte("another key, 16 "))
	none, _ := with(nil)
	for name, p := range programs {
		b, err := p.Encode(nil, Message{Rocket: 7, Seq: 1, Clock: 20_000, Values: map[string]float64{PressurePa: 100000}})
		if err != nil {
			t.Fatal(err)
		}
		if s, err := d.Decode(frame(name, 1, time.Second, b)); err != nil || s.Rocket != "id-7" {
			t.Errorf("%s: %q: %v", name, b, err)
		}
		for bit := range 8 * len(b) {
			c := append([]byte(nil), b...)
			c[bit/8] ^= 1 << (bit % 8)
			if name == "sealed-text" && strings.EqualFold(string(b), string(c)) {
				continue // hex digits may be of either case
			}
			if s, err := d.Decode(frame(name, 1, time.Second, c)); err == nil {
				t.Fatalf("%s: %q was taken: %+v", name, c, s)
			}
		}
		for what, d := range map[string]*Decoder{"another key": other, "no key": none} {
			_, err := d.Decode(frame(name, 1, time.Second, b))
			var r *Reject
			if !errors.As(err, &r) || r.Reason != ReasonChecksum || strings.ContainsAny(r.Detail, "0123456789") {
				t.Errorf("%s with %s: %v", name, what, err)
			}
		}
	}
	for text, want := range map[string]string{
		`checksum = "SipHash-2-4/32"`:                          "key_file",
		`checksum = { kind = "CRC-16/ARC", key_file = "key" }`: "leave it out",
	} {
		l := layouts(t, "[[layout]]\nname = \"x\"\nframing = \"line\"\nform = \"delimited\"\n"+text+"\nfields = [ { name = \"pressure_pa\" } ]\nrocket = 7\n")
		if _, err := Compile(l[0], l); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", text, err)
		}
	}
}
