package decode

import "math"

func bmp085Words() []word {
	w := signed("AC1", "AC2", "AC3")
	w = append(w, unsigned("AC4", "AC5", "AC6")...)
	return append(w, signed("B1", "B2", "MB", "MC", "MD")...)
}

// bmp085 is the integer arithmetic of the BMP085 datasheet (BST-BMP085-DS000,
// figure "algorithm for pressure and temperature measurement") and the
// BMP180's. The steps "/2^n" are shifts that round down: with a division that
// rounds towards zero the datasheet's own example comes out 1 Pa off.
func bmp085(w map[string]int64, o oversampling) compensate {
	oss := o.pressure
	ac1, ac2, ac3, ac4, ac5, ac6 := w["AC1"], w["AC2"], w["AC3"], w["AC4"], w["AC5"], w["AC6"]
	b1, b2, mc, md := w["B1"], w["B2"], w["MC"], w["MD"]
	return func(rawP, rawT float64) (float64, float64, bool) {
		if !inCounts(rawP, 1<<19) || !inCounts(rawT, 1<<16) {
			return 0, 0, false
		}
		up, ut := int64(rawP), int64(rawT)
		x1 := (ut - ac6) * ac5 >> 15
		if x1+md == 0 {
			return 0, 0, false
		}
		b5 := x1 + floorDiv(mc<<11, x1+md)
		degC := float64((b5+8)>>4) / 10

		b6 := b5 - 4000
		sq := b6 * b6 >> 12
		x3 := (b2*sq)>>11 + (ac2*b6)>>11
		b3 := ((ac1*4+x3)<<oss + 2) >> 2
		x3 = ((ac3*b6)>>13 + (b1*sq)>>16 + 2) >> 2
		b4 := ac4 * (x3 + 32768) >> 15
		b7 := (up - b3) * (50000 >> oss)
		if b4 <= 0 || b7 < 0 {
			return 0, 0, false
		}
		var p int64
		if b7 < 0x80000000 {
			p = b7 * 2 / b4
		} else {
			p = b7 / b4 * 2
		}
		x1 = (p >> 8) * (p >> 8) * 3038 >> 16
		x2 := (-7357 * p) >> 16
		p += (x1 + x2 + 3791) >> 4
		return float64(p), degC, true
	}
}

func bmp280Words() []word {
	w := unsigned("T1")
	w = append(w, signed("T2", "T3")...)
	w = append(w, unsigned("P1")...)
	return append(w, signed("P2", "P3", "P4", "P5", "P6", "P7", "P8", "P9")...)
}

// bmp280 is the floating-point form of the BMP280 datasheet (BST-BMP280-DS001,
// section 8.1), with the fine temperature left unrounded.
func bmp280(w map[string]int64, _ oversampling) compensate {
	var t [4]float64
	var p [10]float64
	for i, n := range []string{"T1", "T2", "T3"} {
		t[i+1] = float64(w[n])
	}
	for i, n := range []string{"P1", "P2", "P3", "P4", "P5", "P6", "P7", "P8", "P9"} {
		p[i+1] = float64(w[n])
	}
	return func(rawP, rawT float64) (float64, float64, bool) {
		// 0x80000 is what the sensor gives for a measurement it skipped.
		if !inCounts(rawP, 1<<20) || !inCounts(rawT, 1<<20) || rawP == 0x80000 || rawT == 0x80000 {
			return 0, 0, false
		}
		d := rawT/131072 - t[1]/8192
		fine := (rawT/16384-t[1]/1024)*t[2] + d*d*t[3]

		v1 := fine/2 - 64000
		v2 := v1*v1*p[6]/32768 + v1*p[5]*2
		v2 = v2/4 + p[4]*65536
		v1 = (p[3]*v1*v1/524288 + p[2]*v1) / 524288
		v1 = (1 + v1/32768) * p[1]
		if v1 == 0 {
			return 0, 0, false
		}
		pa := (1048576 - rawP - v2/4096) * 6250 / v1
		pa += (p[9]*pa*pa/2147483648 + pa*p[8]/32768 + p[7]) / 16
		return pa, fine / 5120, true
	}
}

// msFamily holds what differs between the MS5611 and the MS5607: the powers of
// two in the first order and the factors of the second.
type msFamily struct {
	off, offT, sens, sensT float64
	off2, sens2            float64 // below 20 degC, times (TEMP-2000)^2
	offCold, sensCold      float64 // below -15 degC, times (TEMP+1500)^2
}

// ms5611 is the compensation of the MS5611-01BA03 datasheet, second order
// included.
func ms5611(w map[string]int64, _ oversampling) compensate {
	return msCompensate(w, msFamily{
		off: 1 << 16, offT: 1 << 7, sens: 1 << 15, sensT: 1 << 8,
		off2: 5.0 / 2, sens2: 5.0 / 4, offCold: 7, sensCold: 11.0 / 2,
	})
}

// ms5607 is the compensation of the MS5607-02BA03 datasheet (09/2015, page 8);
// the factors of its second order are from memory.
func ms5607(w map[string]int64, _ oversampling) compensate {
	return msCompensate(w, msFamily{
		off: 1 << 17, offT: 1 << 6, sens: 1 << 16, sensT: 1 << 7,
		off2: 61.0 / 16, sens2: 2, offCold: 15, sensCold: 8,
	})
}

// msCompensate works in floating point where the datasheets round each step
// down, for the last step's rounding alone (1 Pa, 8 cm of height) would be as
// large as the sensor's noise.
func msCompensate(w map[string]int64, m msFamily) compensate {
	c1, c2, c3 := float64(w["C1"]), float64(w["C2"]), float64(w["C3"])
	c4, c5, c6 := float64(w["C4"]), float64(w["C5"]), float64(w["C6"])
	return func(d1, d2 float64) (float64, float64, bool) {
		// A conversion read too early gives 0.
		if !inCounts(d1, 1<<24) || !inCounts(d2, 1<<24) || d1 == 0 || d2 == 0 {
			return 0, 0, false
		}
		dT := d2 - c5*256
		temp := 2000 + dT*c6/(1<<23)
		off := c2*m.off + c4*dT/m.offT
		sens := c1*m.sens + c3*dT/m.sensT
		if temp < 2000 {
			sq := (temp - 2000) * (temp - 2000)
			off2, sens2 := m.off2*sq, m.sens2*sq
			if temp < -1500 {
				cold := (temp + 1500) * (temp + 1500)
				off2 += m.offCold * cold
				sens2 += m.sensCold * cold
			}
			temp -= dT * dT / (1 << 31)
			off -= off2
			sens -= sens2
		}
		return (d1*sens/(1<<21) - off) / (1 << 15), temp / 100, true
	}
}

// promCRC4 is the CRC-4 over the eight PROM words of the MS56xx (application
// note AN520), the low byte of the last word taken as zero.
func promCRC4(prom []uint16) byte {
	var rem uint16
	for i := range 16 {
		w := prom[i/2]
		switch {
		case i == 15: // the CRC's own byte
		case i%2 == 0:
			rem ^= w >> 8
		default:
			rem ^= w & 0xff
		}
		for range 8 {
			if rem&0x8000 != 0 {
				rem = rem<<1 ^ 0x3000
			} else {
				rem <<= 1
			}
		}
	}
	return byte(rem >> 12)
}

// inCounts says whether a raw value is a whole number from 0 to below limit.
func inCounts(v, limit float64) bool {
	return v >= 0 && v < limit && v == math.Trunc(v)
}

// floorDiv divides and rounds down.
func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b != 0 && (a < 0) != (b < 0) {
		q--
	}
	return q
}
