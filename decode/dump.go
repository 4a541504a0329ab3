package decode

import (
	"encoding/hex"
	"fmt"
	"strings"
	"time"
)

// Dump says how to get a board's own log through a serial port, in the layout's
// frames.
type Dump struct {
	// Request is what the board is sent once, as "D\r\n"; RequestHex the same
	// in hex for bytes that are no text. With neither, nothing is sent and the
	// board begins by itself, as at a button.
	Request    string `toml:"request"`
	RequestHex string `toml:"request_hex"`
	// End is what stands at the end of the dump, EndHex the same in hex. Without
	// it a pause ends the dump.
	End    string `toml:"end"`
	EndHex string `toml:"end_hex"`
	// SettleS is how long in s to wait after opening the port, for boards that
	// start anew then (0); AnswerS how long the board may take to begin (5);
	// QuietS how long a pause means that it is over (2).
	SettleS float64 `toml:"settle_s"`
	AnswerS float64 `toml:"answer_s"`
	QuietS  float64 `toml:"quiet_s"`
}

// DumpPlan is a Dump that has been checked, with its defaults.
type DumpPlan struct {
	Request, End          []byte
	Settle, Answer, Quiet time.Duration
}

const (
	requestMost = 256
	endMost     = 64
	dumpMostS   = 600
)

// Plan checks it.
func (d Dump) Plan() (p DumpPlan, err error) {
	if p.Request, err = bytesOf("request", d.Request, d.RequestHex, requestMost); err != nil {
		return p, err
	}
	if p.End, err = bytesOf("end", d.End, d.EndHex, endMost); err != nil {
		return p, err
	}
	for _, t := range []struct {
		key  string
		s    float64
		def  float64
		into *time.Duration
	}{{"settle_s", d.SettleS, 0, &p.Settle}, {"answer_s", d.AnswerS, 5, &p.Answer}, {"quiet_s", d.QuietS, 2, &p.Quiet}} {
		if !(t.s >= 0 && t.s <= dumpMostS) {
			return p, fmt.Errorf("%s = %v: write 0 to %d s", t.key, t.s, dumpMostS)
		}
		if t.s == 0 {
			t.s = t.def
		}
		*t.into = time.Duration(t.s * 1e9)
	}
	return p, nil
}

func bytesOf(key, text, inHex string, most int) ([]byte, error) {
	if text != "" && inHex != "" {
		return nil, fmt.Errorf("%s contradicts %[1]s_hex; keep one", key)
	}
	b := []byte(text)
	if inHex != "" {
		var err error
		if b, err = hex.DecodeString(strings.ReplaceAll(inHex, " ", "")); err != nil {
			return nil, fmt.Errorf("%s_hex = %q: write the bytes as hex pairs, such as \"44 0D\"", key, inHex)
		}
	}
	if len(b) > most {
		return nil, fmt.Errorf("%s has %d bytes; write at most %d", key, len(b), most)
	}
	return b, nil
}
