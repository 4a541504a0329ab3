package guess_test

import (
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/fxamacker/cbor/v2"
	"github.com/tinylib/msgp/msgp"

	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/decode/guess"
	"padlark/ingest"
)

// formed is a made-up board that sends something else than numbers between commas.
type formed struct {
	name  string
	line  func(r reading) string // "" for none
	bytes func(r reading) []byte
	whole bool   // the bytes are a datagram each
	form  string // of the outermost layout
	want  string // "name:unit" of fields that must be found, in any of the layouts
	asks  string
	least int // of 100 frames that must be read
}

// packed is a small frame with a CRC.
func packed(r reading) []byte {
	b := le16(le32(le32(nil, 1000*r.t), 10*r.pa), 1000*r.cell)
	return le16(b, float64(sum("CRC-16/IBM-3740", b)))
}

func nmea(body string) string { return fmt.Sprintf("$%s*%02X", body, sum("xor8", []byte(body))) }

// ax25 is a UI frame from N0CALL-11 to APRS.
func ax25(info string) []byte {
	b := []byte{0x82, 0xa0, 0xa4, 0xa6, 0x40, 0x40, 0x60, 0x9c, 0x60, 0x86, 0x82, 0x98, 0x98, 0x77, 0x03, 0xf0}
	return append(b, info...)
}

// spacePacket has a CUC time of 4 and 2 bytes behind its preamble, and a CRC.
func spacePacket(r reading) []byte {
	b := []byte{0x01, 0x23, 0xc0 | byte(r.n>>8), byte(r.n), 0, 0, 0x1e}
	b = binary.BigEndian.AppendUint32(b, uint32(r.t))
	b = binary.BigEndian.AppendUint16(b, uint16((r.t-math.Floor(r.t))*65536))
	b = binary.BigEndian.AppendUint32(b, uint32(r.pa))
	binary.BigEndian.PutUint16(b[4:], uint16(len(b)-6+2-1))
	return binary.BigEndian.AppendUint16(b, uint16(sum("CRC-16/IBM-3740", b)))
}

// five are five readings of a frame, from n on.
func five(r reading, per func(pa float64) string) string {
	var out []string
	for k := range 5 {
		out = append(out, per(r.pa-float64(5*k%7)))
	}
	return strings.Join(out, ",")
}

func formedBoards() []formed {
	day := time.Date(2026, 5, 9, 10, 0, 0, 0, time.UTC)
	at := func(r reading) time.Time { return day.Add(time.Duration(r.t * 1e9)) }
	place := func(r reading) string {
		return fmt.Sprintf("!4807.0%dN/01131.00E>088/036/A=%06.0f", r.n%10, (500+r.alt)/0.3048)
	}
	return []formed{
		{name: "JSON, one object a line", form: "json",
			line: func(r reading) string {
				return fmt.Sprintf(`{"t_ms":%.0f,"baro":{"pressure_hPa":%.2f,"temp":%.1f},"battery_mv":%.0f,"chute":%d,"name":"teal"}`, 1000*r.t, r.pa/100, r.degC, 1000*r.cell, r.flag())
			}, want: "clock:ms pressure_pa:hPa temperature_c:degC cell_v:mV release_on:"},
		{name: "JSON datagrams of several kinds", form: "json", whole: true,
			bytes: func(r reading) []byte {
				if r.n%10 == 0 {
					return []byte(`{"type":"status","up":17}`)
				}
				return fmt.Appendf(nil, `{"type":"data","millis":%.0f,"pressure":%.1f,"acc":[%.3f,%.3f,%.3f]}`, 1000*r.t, r.pa, r.ax, r.ay, r.az)
			}, want: "clock:ms pressure_pa:Pa accel_x_mps2: accel_z_mps2:", asks: `messages have "status" in /type`, least: 85},
		{name: "JSON with lists of readings", form: "json",
			line: func(r reading) string {
				return fmt.Sprintf(`{"ms":%.0f,"pressure":[%s],"vbat":%.2f}`, 1000*r.t, five(r, func(pa float64) string { return fmt.Sprintf("%.2f", pa/100) }), r.cell)
			}, want: "clock:ms pressure_pa:hPa cell_v:V", asks: "50 ms apart"},
		{name: "a gateway: base64 in JSON", form: "json",
			line: func(r reading) string {
				return fmt.Sprintf(`{"rx":{"rssi":-%d},"data":%q}`, 60+r.n%9, base64.StdEncoding.EncodeToString(packed(r)))
			}, want: "rssi_dbm:dBm clock:ms pressure_pa:dPa cell_v:mV"},
		{name: "a module: hex between commas", form: "delimited",
			line: func(r reading) string { return fmt.Sprintf("+RX,%X,-%d", packed(r), 60+r.n%9) },
			want: "clock:ms pressure_pa:dPa cell_v:mV rssi_dbm:dBm"},
		{name: "lines of nothing but hex", form: "delimited",
			line: func(r reading) string { return fmt.Sprintf("%x", packed(r)) }, want: "clock:ms pressure_pa:dPa cell_v:mV"},
		{name: "CBOR, numbers for names", form: "cbor",
			bytes: func(r reading) []byte {
				b, _ := cbor.Marshal(map[int]any{0: int(1000 * r.t), 1: int(10 * r.pa), 2: int(1000 * r.cell)}) //nolint:errcheck // numbers
				return ingest.EncodeCOBS(nil, b)
			}, want: "clock:ms pressure_pa:dPa cell_v:mV"},
		{name: "MessagePack datagrams", form: "messagepack", whole: true,
			bytes: func(r reading) []byte {
				b := msgp.AppendMapHeader(nil, 3)
				b = msgp.AppendInt(msgp.AppendString(b, "t"), int(1000*r.t))
				b = msgp.AppendFloat64(msgp.AppendString(b, "pressure"), r.pa/100)
				return msgp.AppendBool(msgp.AppendString(b, "released"), r.released)
			}, want: "clock:ms pressure_pa:hPa release_on:"},
		{name: "pairs between spaces", form: "delimited",
			line: func(r reading) string {
				return fmt.Sprintf("t=%.0f p=%.2f temp=%.1f vbat=%.2f servo=%d", 1000*r.t, r.pa/100, r.degC, r.cell, r.flag())
			}, want: "clock:ms pressure_pa:hPa temperature_c:degC cell_v:V release_on:"},
		{name: "pairs with colons between commas, in any order", form: "delimited",
			line: func(r reading) string {
				if r.n%2 == 0 {
					return fmt.Sprintf("Time: %.0f, Pressure: %.0f, Alt: %.1f", 1000*r.t, r.pa, r.alt)
				}
				return fmt.Sprintf("Pressure: %.0f, Alt: %.1f, Time: %.0f", r.pa, r.alt, 1000*r.t)
			}, want: "clock:ms pressure_pa:Pa altitude_m:m"},
		{name: "fixed places that touch, and gaps", form: "delimited",
			line: func(r reading) string {
				temp := fmt.Sprintf("%+06.1f", r.degC)
				if r.n%3 == 0 {
					temp = "      "
				}
				return fmt.Sprintf("%8.0f%+09.2f%s %5.0f", 1000*r.t, r.pa/100, temp, 1000*r.cell)
			}, want: "clock:ms pressure_pa:hPa"},
		{name: "dates and a decimal comma", form: "delimited",
			line: func(r reading) string {
				return at(r).Format("2006-01-02--15-04-05-000") + ";" + strings.ReplaceAll(fmt.Sprintf("%.2f;%.1f", r.pa/100, r.degC), ".", ",")
			}, want: "clock:yyyy-mm-dd hh:mm:ss pressure_pa:hPa temperature_c:degC"},
		{name: "the time of the day", form: "delimited",
			line: func(r reading) string { return at(r).Format("15:04:05.000") + fmt.Sprintf(",%.0f", r.pa) },
			want: "clock:hh:mm:ss pressure_pa:Pa"},
		{name: "RFC 3339", form: "delimited",
			line: func(r reading) string { return at(r).Format(time.RFC3339Nano) + fmt.Sprintf(",%.0f", r.pa) },
			want: "clock:yyyy-mm-dd hh:mm:ss pressure_pa:Pa"},
		{name: "nanoseconds", form: "delimited",
			line: func(r reading) string { return fmt.Sprintf("%d,%.0f", at(r).UnixNano(), r.pa) },
			want: "clock:ns pressure_pa:Pa"},
		{name: "a receiver", form: "kinds",
			line: func(r reading) string {
				if r.n%2 == 0 {
					return nmea(fmt.Sprintf("GNRMC,%s,A,4807.038,N,01131.000,E,0.1,84.4,090526,,", at(r).Format("150405.00")))
				}
				return nmea(fmt.Sprintf("GNGGA,%s,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,", at(r).Format("150405.00")))
			}, want: "", least: 100},
		{name: "sentences of one's own and of a receiver", form: "kinds",
			line: func(r reading) string {
				if r.n%5 == 0 {
					return nmea(fmt.Sprintf("GPGGA,%s,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,", at(r).Format("150405.00")))
				}
				return nmea(fmt.Sprintf("PXYZ,%.0f,%.2f", 1000*r.t, r.pa/100))
			}, want: "clock:ms pressure_pa:hPa latitude_deg:ddmm.mmmm gps_altitude_m:"},
		{name: "gpsd", form: "json",
			line: func(r reading) string {
				return fmt.Sprintf(`{"class":"TPV","mode":3,"time":%q,"lat":48.1173,"lon":11.5166,"altMSL":545.4}`, at(r).Format(time.RFC3339Nano))
			}},
		{name: "positions from a TNC", form: "ax25",
			bytes: func(r reading) []byte { return ingest.EncodeKISS(nil, 0, 0, ax25(place(r))) },
			want:  "latitude_deg: longitude_deg: gps_altitude_m: ground_speed_mps:"},
		{name: "lines of our own in packets", form: "ax25",
			bytes: func(r reading) []byte {
				return ingest.EncodeKISS(nil, 0, 0, ax25(fmt.Sprintf("%.0f,%.1f,%.0f", 1000*r.t, r.pa, 1000*r.cell)))
			}, want: "clock:ms pressure_pa:Pa cell_v:mV"},
		{name: "packets as a program prints them, with telemetry", form: "ax25",
			line: func(r reading) string {
				switch r.n % 20 {
				case 0:
					return "N0CALL-11>APRS::N0CALL-11:PARM.Vcell,Temp"
				case 1:
					return "N0CALL-11>APRS,WIDE1-1*:" + place(r)
				}
				return fmt.Sprintf("N0CALL-11>APRS:T#%03d,%.2f,%.1f,0,0,0,0000000%d", r.n%1000, r.cell, r.degC, r.flag())
			}, want: "seq: latitude_deg: temperature_c:degC", least: 90},
		{name: "space packets as datagrams", form: "spacepacket", whole: true, bytes: spacePacket, want: "clock: pressure_pa:Pa"},
		{name: "space packets behind sync marks", form: "spacepacket",
			bytes: func(r reading) []byte { return append([]byte{0x1a, 0xcf, 0xfc, 0x1d}, spacePacket(r)...) }, want: "clock: pressure_pa:Pa"},
		{name: "space packets one behind the other", form: "spacepacket", bytes: spacePacket, want: "clock: pressure_pa:Pa"},
		{name: "lines of two kinds", form: "kinds",
			line: func(r reading) string {
				if r.n%5 == 0 {
					return fmt.Sprintf("GPS,%.0f,%.6f,%.6f,%.1f", 1000*r.t, 48.1+1e-6*r.alt, 11.5+1e-7*r.alt, 500+r.alt)
				}
				return fmt.Sprintf("AIR,%.0f,%.2f,%.1f", 1000*r.t, r.pa/100, r.degC)
			}, want: "clock:ms pressure_pa:hPa temperature_c:degC"},
		{name: "frames of two kinds", form: "kinds",
			bytes: func(r reading) []byte {
				b := le32([]byte{1}, 1000*r.t)
				if b = le32(b, 10*r.pa); r.n%5 == 0 {
					b = le16(le32([]byte{2}, 1000*r.t), 1000*r.cell)
				}
				return ingest.EncodeCOBS(nil, le16(b, float64(sum("CRC-16/IBM-3740", b))))
			}, want: "clock:ms pressure_pa:dPa"},
		{name: "five readings a line", form: "delimited",
			line: func(r reading) string {
				return fmt.Sprintf("%.0f,%s,%.0f", 1000*r.t, five(r, func(pa float64) string { return fmt.Sprintf("%.0f", pa) }), 1000*r.cell)
			}, want: "clock:ms pressure_pa:Pa cell_v:mV", asks: "apart"},
		{name: "five readings a frame", form: "binary",
			bytes: func(r reading) []byte {
				b := le32(nil, 1000*r.t)
				for k := range 5 {
					b = le32(b, 10*(r.pa-float64(5*k%7)))
				}
				return ingest.EncodeCOBS(nil, le16(b, float64(sum("CRC-16/IBM-3740", b))))
			}, want: "clock:ms pressure_pa:dPa", asks: "apart"},
	}
}

// Every form that a layout can have is found in the bytes of a made-up board, the
// proposal is accepted, and reads what the board sends.
func TestMadeUpForms(t *testing.T) {
	for _, b := range formedBoards() {
		t.Run(b.name, func(t *testing.T) {
			var in guess.Input
			for _, r := range fly(4) {
				switch {
				case b.whole:
					in.Messages = append(in.Messages, b.bytes(r))
				case b.bytes != nil:
					in.Bytes = append(in.Bytes, b.bytes(r)...)
				default:
					in.Bytes = append(in.Bytes, b.line(r)+"\r\n"...)
				}
			}
			g, err := guess.Look(in)
			if err != nil {
				t.Fatal(err)
			}
			text := g.TOML("a test", `serial = "/dev/ttyUSB0"`+"\nbaud = 9600")
			if b.whole {
				text = g.TOML("a test", `udp = ":9750"`)
			}
			if _, err := config.Parse("proposal.toml", []byte(text)); err != nil {
				t.Errorf("refused: %v\n%s", err, text)
			}
			if least := max(b.least, 98); b.least > 0 && 100*g.Read < b.least*g.Frames || b.least == 0 && 100*g.Read < least*g.Frames || g.Read < 20 {
				t.Errorf("it reads %d of %d frames\n%s", g.Read, g.Frames, text)
			}
			if g.Layout.Form != b.form {
				t.Errorf("form %s, want %s", g.Layout.Form, b.form)
			}
			units := map[string]string{}
			asks := append([]string(nil), g.Asks...)
			var all func(g *guess.Guess)
			all = func(g *guess.Guess) {
				for _, f := range g.Layout.Fields {
					if !f.Ignore {
						units[f.Name] = f.Unit
					}
				}
				for _, p := range g.Parts {
					all(p)
				}
			}
			all(g)
			for _, w := range strings.Fields(strings.ReplaceAll(b.want, "dd hh", "dd_hh")) {
				name, unit, _ := strings.Cut(strings.ReplaceAll(w, "dd_hh", "dd hh"), ":")
				if got, ok := units[name]; !ok || got != unit && unit != "" {
					t.Errorf("field %s in %q, want %q (fields %v)\n%s", name, got, unit, units, text)
				}
			}
			if !strings.Contains(strings.Join(asks, "\n"), b.asks) {
				t.Errorf("it asks %q, not %q", asks, b.asks)
			}
			if pa, ok := g.Values.Get(decode.PressurePa); strings.Contains(b.want, decode.PressurePa) && ok && math.Abs(pa-98200) > 600 {
				t.Errorf("the frame that is shown has %g Pa", pa)
			}
			for line := range strings.SplitSeq(text, "\n") {
				if strings.HasPrefix(line, "#") && len([]rune(line)) > 80 {
					t.Errorf("wider than 80 columns: %s", line)
				}
			}
		})
	}
}
