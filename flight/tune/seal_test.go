package tune_test

import (
	"encoding/hex"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"padlark/decode"
	"padlark/ingest"
)

// sealHost says messages with every number in them, sealed in both forms.
const sealHost = `#include <stdio.h>
#include "seal.h"
int main(void)
{
    uint8_t key[LARK_KEY_SIZE], out[LARK_SEALED_TEXT_MAX];
    uint32_t x = 12345, i, k, n;
    for (i = 0; i < LARK_KEY_SIZE; i++)
        key[i] = (uint8_t)(7 * i + 1);
    printf("%08lx\n", (unsigned long)lark_seal(key, key, 15));
    for (i = 0; i < 300; i++) {
        struct lark m;
        x = x * 1103515245UL + 12345UL;
        m.clock_ms = x; m.pressure_dpa = i % 7 == 0 ? LARK_NO_PRESSURE : 1000000UL + (x >> 16);
        m.seq = (uint16_t)(x >> 3); m.temperature_cc = (int16_t)((int)(x >> 20) - 2000); m.cell_mv = i % 5 == 0 ? LARK_NO_CELL : (uint16_t)(x >> 19);
        m.release_us = (uint16_t)(i % 3 == 0 ? 0 : 1000 + i); m.rocket = (uint8_t)i; m.boot = (uint8_t)(x >> 24); m.flags = (uint8_t)(i & 3);
        printf("%u %u %lu ", (unsigned)m.rocket, (unsigned)m.seq, (unsigned long)m.clock_ms);
        lark_sealed_bin(&m, key, out);
        for (k = 0; k < LARK_SEALED_BIN_SIZE; k++)
            printf("%02x", out[k]);
        n = lark_sealed_text(&m, key, out);
        printf(" %.*s", (int)n, (const char *)out);
    }
    return 0;
}
`

// What the C encoder seals the station takes with the key, and with no other.
func TestFirmwareSeals(t *testing.T) {
	gcc := needed(t, "gcc")
	dir := t.TempDir()
	main := filepath.Join(dir, "main.c")
	if err := os.WriteFile(main, []byte(sealHost), 0o644); err != nil {
		t.Fatal(err)
	}
	host := filepath.Join(dir, "host")
	args := append(append([]string{}, strict...), "-I", firmware, "-o", host, main, filepath.Join(firmware, "seal.c"), filepath.Join(firmware, "lark.c"))
	if msg, err := exec.Command(gcc, args...).CombinedOutput(); err != nil {
		t.Fatalf("compile: %v\n%s", err, msg)
	}
	out, err := exec.Command(host).Output()
	if err != nil {
		t.Fatal(err)
	}
	key := make([]byte, decode.SealKeySize)
	for i := range key {
		key[i] = byte(7*i + 1)
	}
	ours, other := sealedStation(t, key), sealedStation(t, make([]byte, decode.SealKeySize))
	lines := strings.Split(strings.TrimSuffix(string(out), "\r\n"), "\n")[1:]
	if len(lines) != 300 {
		t.Fatalf("%d messages", len(lines))
	}
	for _, line := range lines {
		f := strings.SplitN(strings.TrimSuffix(line, "\r"), " ", 5)
		bin, err := hex.DecodeString(f[3])
		if err != nil || len(bin) != 26 {
			t.Fatalf("binary message %q: %v", f[3], err)
		}
		for link, wire := range map[string][]byte{"lark-bin": bin, "lark-text": []byte(f[4] + "\r\n")} {
			m := unframed(t, link, wire)
			s, err := ours().Decode(ingest.Frame{Link: link, N: 1, Bytes: m})
			if err != nil {
				t.Fatalf("%s: %q: %v", link, m, err)
			}
			ms, _ := strconv.ParseInt(f[2], 10, 64)
			if got := fmt.Sprintf("%s %d %d", s.Rocket, s.Seq, s.Clock); got != fmt.Sprintf("id-%s %s %d", f[0], f[1], 1000*ms) {
				t.Fatalf("%s: heard %s, said %v", link, got, f[:3])
			}
			if _, err := other().Decode(ingest.Frame{Link: link, N: 1, Bytes: m}); err == nil {
				t.Fatalf("%s: taken with another key", link)
			}
		}
	}
	// In the memory of lark.h's small board: message, both buffers and the key.
	fits := filepath.Join(dir, "fits.c")
	check := "#include \"seal.h\"\ntypedef char sealed_fits[sizeof(struct lark) + LARK_SEALED_TEXT_MAX + LARK_KEY_SIZE <= 128 ? 1 : -1];\n"
	if err := os.WriteFile(fits, []byte(check), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, file := range []string{fits, filepath.Join(firmware, "seal.c")} {
		obj := filepath.Join(dir, filepath.Base(file)+".o")
		args := append(append([]string{}, strict...), "-I", firmware, "-c", file, "-o", obj)
		if msg, err := exec.Command(gcc, args...).CombinedOutput(); err != nil {
			t.Fatalf("compile %s: %v\n%s", file, err, msg)
		}
		size, err := exec.Command(needed(t, "size"), obj).Output()
		if err != nil {
			t.Fatal(err)
		}
		if f := strings.Fields(strings.Split(string(size), "\n")[1]); f[1] != "0" || f[2] != "0" {
			t.Errorf("%s has %s bytes of data and %s of bss; want none", file, f[1], f[2])
		}
	}
}

// sealedStation makes decoders of the built-in layouts with a seal for a checksum.
func sealedStation(t *testing.T, key []byte) func() *decode.Decoder {
	t.Helper()
	built, err := decode.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	var cfg decode.Config
	for _, l := range built {
		link := l.Name
		if link != "lark-bin" && link != "lark-text" {
			continue // what other makers' devices send has checksums of its own
		}
		l.Name = "sealed-" + l.Name
		l.Checksum = decode.Checksum{Kind: decode.SealKind, Key: key}
		cfg.Layouts = append(cfg.Layouts, l)
		cfg.Links = append(cfg.Links, decode.LinkLayouts{Link: link, Layouts: []string{l.Name}})
	}
	return func() *decode.Decoder {
		d, err := decode.New(cfg)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
}

// unframed is the one message in the bytes of a link.
func unframed(t *testing.T, layout string, wire []byte) []byte {
	t.Helper()
	kind := ingest.FramingLine
	if layout == "lark-bin" {
		kind = ingest.FramingCOBS
	}
	framer, err := ingest.NewFramer(ingest.Framing{Kind: kind}, 0)
	if err != nil {
		t.Fatal(err)
	}
	s := sink{t: t}
	if err := framer.Push(wire, &s); err != nil || len(s.messages) != 1 {
		t.Fatalf("%q holds %d messages: %v", wire, len(s.messages), err)
	}
	return s.messages[0]
}
