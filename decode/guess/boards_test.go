package guess_test

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"padlark/decode"
	"padlark/ingest"
)

// reading is what a made-up board measures at one moment of a made-up flight: 12 s
// on the pad, up to 80 m in 3.5 s, down at 6 m/s. The physics is only there to make
// numbers that move as real ones do.
type reading struct {
	n              int
	t              float64 // s since boot
	pa, degC, cell float64
	alt            float64 // m above the pad
	ax, ay, az     float64 // g
	released       bool
}

func (r reading) flag() int { return map[bool]int{true: 1}[r.released] }

// fly gives the readings of a flight at a rate in Hz.
func fly(rate float64) (out []reading) {
	rng := rand.New(rand.NewPCG(7, uint64(rate)))
	const ground = 98640.0
	for n := 0; ; n++ {
		t := float64(n) / rate
		alt := 0.0
		switch s := t - 12; {
		case s < 0:
		case s < 3.5:
			alt = 80 * (1 - math.Pow(1-s/3.5, 2))
		default:
			alt = max(80-6*(s-3.5), 0)
		}
		if t > 32 {
			return out
		}
		out = append(out, reading{
			n: n, t: 4.31 + t, pa: ground - 11.6*alt + 2*rng.NormFloat64(), degC: 21.4 + 0.03*t + 0.02*rng.NormFloat64(),
			cell: 4.02 - 0.001*t + 0.004*rng.NormFloat64(), alt: alt + 0.15*rng.NormFloat64(),
			ax: 0.02 + 0.01*rng.NormFloat64(), ay: -0.05 + 0.01*rng.NormFloat64(), az: 1 + 0.01*rng.NormFloat64(), released: t > 16,
		})
	}
}

// board is a made-up board: what it sends, and what should be found.
type board struct {
	name     string
	rate     float64
	seconds  bool // tell how long it was listened to
	header   string
	line     func(reading) string
	frame    func(reading) []byte // one that is no text
	messages bool                 // as datagrams
	builtIn  string
	want     string // "name:unit" of the fields that must be found
	asks     string // a piece of a question that must be asked
	checksum string
}

func withCRC(body, name string) string {
	calc, size := decode.SumFunc(name)
	return fmt.Sprintf("%s*%0*X", body, 2*size, calc([]byte(body)))
}

func sum(name string, b []byte) uint32 {
	calc, _ := decode.SumFunc(name)
	return calc(b)
}

func le16(b []byte, v float64) []byte { return binary.LittleEndian.AppendUint16(b, uint16(int(v))) }
func le32(b []byte, v float64) []byte { return binary.LittleEndian.AppendUint32(b, uint32(v)) }

func boards() []board {
	pulse := func(r reading) int { return 1000 + 900*r.flag() }
	return []board{
		{
			name: "two barometers, and what was noted of a third", rate: 25, header: "time_ms,pressure1_pa,pressure2_hpa,pressure0_pa",
			line: func(r reading) string {
				return fmt.Sprintf("%.0f,%.0f,%.3f,98640", 1000*r.t, r.pa, (r.pa+60)/100)
			},
			want: "clock:ms pressure_pa:Pa pressure_2_pa:hPa",
		},
		{
			name: "header with units", rate: 20, header: "t_ms,pressure_hPa,temp_C,batt_mV,servo",
			line: func(r reading) string {
				return fmt.Sprintf("%.0f,%.2f,%.1f,%.0f,%d", 1000*r.t, r.pa/100, r.degC, 1000*r.cell, r.flag())
			},
			want: "clock:ms pressure_pa:hPa temperature_c:degC cell_v:mV release_on:",
		},
		{
			name: "no header", rate: 25,
			line: func(r reading) string {
				return fmt.Sprintf("%.0f,%.1f,%.2f,%.3f,%d", 1000*r.t, r.pa, r.degC, r.cell, pulse(r))
			},
			want: "clock:ms pressure_pa:Pa temperature_c:degC cell_v:V release_us:us",
		},
		{
			name: "semicolons, seconds, height", rate: 10,
			line: func(r reading) string { return fmt.Sprintf("%.2f;%.2f;%.1f", r.t, r.pa/100, r.alt) },
			want: "clock:s pressure_pa:hPa altitude_m:m",
		},
		{
			name: "tabs, microseconds", rate: 50, header: "micros\tpressure\ttemperature",
			line: func(r reading) string { return fmt.Sprintf("%.0f\t%.0f\t%.2f", 1e6*r.t, r.pa, r.degC) },
			want: "clock:us pressure_pa:Pa temperature_c:degC",
		},
		{
			name: "spaces", rate: 5,
			line: func(r reading) string { return fmt.Sprintf("%6.0f  %7.2f  %5.1f", 1000*r.t, r.pa/100, r.degC) },
			want: "clock:ms pressure_pa:hPa temperature_c:degC",
		},
		{
			name: "bars and a word in front", rate: 20,
			line: func(r reading) string { return fmt.Sprintf("DATA|%d|%.0f|%.0f", r.n, 1000*r.t, r.pa) },
			want: "seq: clock:ms pressure_pa:Pa",
		},
		{
			name: "sentences", rate: 10,
			line: func(r reading) string {
				body := fmt.Sprintf("PXYZ,%.0f,%.1f,%.2f", 1000*r.t, r.pa/100, r.degC)
				v := sum("xor8", []byte(body))
				return fmt.Sprintf("$%s*%02X", body, v)
			},
			want: "clock:ms pressure_pa:hPa temperature_c:degC",
		},
		{
			name: "a CRC behind a star", rate: 20,
			line: func(r reading) string {
				return withCRC(fmt.Sprintf("R,%.0f,%.0f,%.0f", 1000*r.t, r.pa, 1000*r.cell), "CRC-16/XMODEM")
			},
			want: "clock:ms pressure_pa:Pa cell_v:mV", checksum: "CRC-16/XMODEM",
		},
		{
			name: "units in brackets, feet", rate: 10, header: "Time (s),Altitude (ft),Temp [F]",
			line: func(r reading) string { return fmt.Sprintf("%.3f,%.1f,%.1f", r.t, 3.28084*r.alt, 32+1.8*r.degC) },
			want: "clock:s altitude_m:ft temperature_c:degF",
		},
		{
			name: "height only", rate: 10, header: "millis,alt",
			line: func(r reading) string { return fmt.Sprintf("%.0f,%.1f", 1000*r.t, r.alt) },
			want: "clock:ms altitude_m:m", asks: "is the height in m?",
		},
		{
			name: "servo in degrees", rate: 20, header: "time_ms,pressure_pa,servo_deg",
			line: func(r reading) string { return fmt.Sprintf("%.0f,%.0f,%d", 1000*r.t, r.pa, 10+80*r.flag()) },
			want: "clock:ms pressure_pa:Pa release_us:", asks: "measure the pulse",
		},
		{
			name: "cell in counts", rate: 20, header: "ms,hPa,vbat",
			line: func(r reading) string { return fmt.Sprintf("%.0f,%.2f,%.0f", 1000*r.t, r.pa/100, r.cell/2/3.3*1023) },
			want: "clock:ms pressure_pa:hPa", asks: "counts of a converter",
		},
		{
			name: "whole numbers", rate: 20,
			line: func(r reading) string {
				return fmt.Sprintf("%d,%.0f,%.0f,%.0f,%.0f,%d", r.n, 1000*r.t, 10*r.pa, 100*r.degC, 1000*r.cell, pulse(r))
			},
			want: "seq: clock:ms pressure_pa:dPa temperature_c:cdegC cell_v:mV release_us:us",
		},
		{
			name: "three axes in g", rate: 50,
			line: func(r reading) string {
				return fmt.Sprintf("%.0f,%.3f,%.3f,%.3f,%.2f", 1000*r.t, r.ax, r.ay, r.az, r.pa/100)
			},
			want: "clock:ms accel_x_mps2:g accel_y_mps2:g accel_z_mps2:g pressure_pa:hPa",
		},
		{
			name: "kilopascal, number and microseconds", rate: 20,
			line: func(r reading) string { return fmt.Sprintf("%d %.0f %.4f", r.n, 1e6*r.t, r.pa/1000) },
			want: "seq: clock:us pressure_pa:kPa",
		},
		{
			name: "one a second, listened to", rate: 1, seconds: true,
			line: func(r reading) string { return fmt.Sprintf("%.0f,%.2f", 1000*r.t, r.pa/100) },
			want: "clock:ms pressure_pa:hPa",
		},
		{
			name: "words for the state", rate: 10, header: "time,state,baro_pa,chute",
			line: func(r reading) string {
				return fmt.Sprintf("%.2f,%s,%.1f,%d", r.t, map[bool]string{false: "UP", true: "OPEN"}[r.released], r.pa, r.flag())
			},
			want: "clock:s pressure_pa:Pa release_on:",
		},
		{
			name: "torn lines, no number, a second header", rate: 20, header: "ms,Pa,degC",
			line: func(r reading) string {
				switch {
				case r.n%40 == 13:
					return fmt.Sprintf("%.0f,98", 1000*r.t)
				case r.n == 300:
					return "ms,Pa,degC"
				case r.n%17 == 5:
					return fmt.Sprintf("%.0f,%.0f,nan", 1000*r.t, r.pa)
				}
				return fmt.Sprintf("%.0f,%.0f,%.1f", 1000*r.t, r.pa, r.degC)
			},
			want: "clock:ms pressure_pa:Pa temperature_c:degC",
		},
		{
			name: "a place", rate: 5, header: "uptime_s,lat,lon,gps_alt_m,pressure_mbar,rssi",
			line: func(r reading) string {
				return fmt.Sprintf("%.1f,%.6f,%.6f,%.1f,%.2f,-%d", r.t, 48.1+1e-6*r.alt, 11.5, 500+r.alt, r.pa/100, 60+r.n%7)
			},
			want: "clock:s latitude_deg:deg longitude_deg:deg gps_altitude_m:m pressure_pa:mbar rssi_dbm:dBm",
		},
		{
			name: "built in, text", rate: 20, builtIn: "lark-text",
			line: func(r reading) string {
				body := fmt.Sprintf("PLRK,7,1,%d,%.0f,%.1f,%.0f,%.0f,%d,1", r.n, 1000*r.t, r.pa, 100*r.degC, 1000*r.cell, pulse(r))
				v := sum("xor8", []byte(body))
				return fmt.Sprintf("$%s*%02X", body, v)
			},
		},
		{
			name: "COBS with a CRC", rate: 20, checksum: "CRC-16/IBM-3740",
			frame: func(r reading) []byte {
				b := le32([]byte{3}, 1000*r.t)
				b = le16(le16(le32(b, r.pa), 100*r.degC), 1000*r.cell)
				v := sum("CRC-16/IBM-3740", b)
				return ingest.EncodeCOBS(nil, le16(b, float64(v)))
			},
			want: "clock:ms pressure_pa:Pa temperature_c:cdegC cell_v:mV",
		},
		{
			name: "SLIP with a CRC-32, microseconds", rate: 50, checksum: "CRC-32/ISO-HDLC",
			frame: func(r reading) []byte {
				b := le32(le32(nil, 1e6*r.t), 10*r.pa)
				b = le16(b, float64(pulse(r)))
				v := sum("CRC-32/ISO-HDLC", b)
				return ingest.EncodeSLIP(nil, le32(b, float64(v)))
			},
			want: "clock:us pressure_pa:dPa release_us:us",
		},
		{
			name: "a sync word, high byte first, floats", rate: 20, checksum: "sum8",
			frame: func(r reading) []byte {
				b := binary.BigEndian.AppendUint32(nil, uint32(1000*r.t))
				b = binary.BigEndian.AppendUint32(b, math.Float32bits(float32(r.pa/100)))
				b = binary.BigEndian.AppendUint32(b, math.Float32bits(float32(r.degC)))
				v := sum("sum8", b)
				return append([]byte{0xAA, 0x55}, append(b, byte(v))...)
			},
			want: "clock:ms pressure_pa:hPa temperature_c:degC",
		},
		{
			name: "datagrams without a checksum", rate: 20, messages: true,
			frame: func(r reading) []byte { return le16(le32(le32(nil, 1000*r.t), r.pa), float64(r.n)) },
			want:  "clock:ms pressure_pa:Pa seq:",
		},
	}
}

// bytes is what the board sends.
func (b board) input() (bytes []byte, messages [][]byte, seconds float64) {
	var text strings.Builder
	if b.header != "" {
		text.WriteString(b.header + "\r\n")
	}
	flight := fly(b.rate)
	for _, r := range flight {
		switch {
		case b.messages:
			messages = append(messages, b.frame(r))
		case b.frame != nil:
			bytes = append(bytes, b.frame(r)...)
		default:
			text.WriteString(b.line(r) + "\r\n")
		}
	}
	if b.seconds {
		seconds = flight[len(flight)-1].t - flight[0].t
	}
	return append(bytes, text.String()...), messages, seconds
}
