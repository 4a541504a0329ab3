package decode

func bmp388Words() []word {
	small := func(names ...string) []word { return wordList(-128, 127, names) }
	w := append(unsigned("T1", "T2"), small("T3")...)
	w = append(w, signed("P1", "P2")...)
	w = append(w, small("P3", "P4")...)
	w = append(w, unsigned("P5", "P6")...)
	w = append(w, small("P7", "P8")...)
	return append(append(w, signed("P9")...), small("P10", "P11")...)
}

// bmp388 is the floating-point form of the BMP388 and BMP390 datasheets
// (BST-BMP388-DS001, BST-BMP390-DS002, section 8 and 9.1 to 9.3; from memory).
func bmp388(w map[string]int64, _ oversampling) compensate {
	at := func(name string, less, power int64) float64 {
		v := float64(w[name] - less)
		for ; power > 0; power-- {
			v /= 2
		}
		for ; power < 0; power++ {
			v *= 2
		}
		return v
	}
	t1, t2, t3 := at("T1", 0, -8), at("T2", 0, 30), at("T3", 0, 48)
	p1, p2, p3, p4 := at("P1", 1<<14, 20), at("P2", 1<<14, 29), at("P3", 0, 32), at("P4", 0, 37)
	p5, p6, p7, p8 := at("P5", 0, -3), at("P6", 0, 6), at("P7", 0, 8), at("P8", 0, 15)
	p9, p10, p11 := at("P9", 0, 48), at("P10", 0, 48), at("P11", 0, 65)
	return func(rawP, rawT float64) (float64, float64, bool) {
		// 0x800000 is what the sensor gives before its first measurement.
		if !inCounts(rawP, 1<<24) || !inCounts(rawT, 1<<24) || rawP == 1<<23 || rawT == 1<<23 {
			return 0, 0, false
		}
		d := rawT - t1
		t := d*t2 + d*d*t3
		still := p5 + t*(p6+t*(p7+t*p8))
		linear := rawP * (p1 + t*(p2+t*(p3+t*p4)))
		rest := rawP * rawP * (p9 + p10*t + rawP*p11)
		return still + linear + rest, t, true
	}
}

func dps310Words() []word {
	w := wordList(-1<<11, 1<<11-1, []string{"c0", "c1"})
	w = append(w, wordList(-1<<19, 1<<19-1, []string{"c00", "c10"})...)
	return append(w, signed("c01", "c11", "c20", "c21", "c30")...)
}

func dps310Rates() []int { return []int{1, 2, 4, 8, 16, 32, 64, 128} }

// dps310Scale is the count of full scale by oversampling rate (DPS310 datasheet
// V1.2, table 9; SPL06-007 datasheet, table 4; from memory).
func dps310Scale(rate int) float64 {
	switch rate {
	case 2:
		return 1572864
	case 4:
		return 3670016
	case 8:
		return 7864320
	case 16:
		return 253952
	case 32:
		return 516096
	case 64:
		return 1040384
	case 128:
		return 2088960
	}
	return 524288
}

// dps310 is the compensation of the DPS310 datasheet (V1.2, section 4.9) and of
// the SPL06-007's (from memory).
func dps310(w map[string]int64, o oversampling) compensate {
	c0, c1 := float64(w["c0"]), float64(w["c1"])
	c00, c10, c20, c30 := float64(w["c00"]), float64(w["c10"]), float64(w["c20"]), float64(w["c30"])
	c01, c11, c21 := float64(w["c01"]), float64(w["c11"]), float64(w["c21"])
	kp, kt := dps310Scale(o.pressure), dps310Scale(o.temperature)
	return func(rawP, rawT float64) (float64, float64, bool) {
		rawP, okP := signed24(rawP)
		rawT, okT := signed24(rawT)
		if !okP || !okT || rawP == -1<<23 || rawT == -1<<23 {
			return 0, 0, false
		}
		p, t := rawP/kp, rawT/kt
		return c00 + p*(c10+p*(c20+p*c30)) + t*(c01+p*(c11+p*c21)), c0/2 + c1*t, true
	}
}

// lps22 has 4096 counts to the hPa and 100 to the degC (LPS22HB datasheet,
// sections 9.15 and 9.16; from memory).
func lps22(_ map[string]int64, _ oversampling) compensate {
	return func(rawP, rawT float64) (float64, float64, bool) {
		rawP, ok := signed24(rawP)
		rawT, okT := signed16(rawT)
		return rawP * 100 / 4096, rawT / 100, ok && okT
	}
}

// lps25 has 4096 counts to the hPa, and 480 to the degC from 42.5 degC on (LPS25HB
// datasheet, sections 9.16 and 9.18; from memory).
func lps25(_ map[string]int64, _ oversampling) compensate {
	return func(rawP, rawT float64) (float64, float64, bool) {
		rawP, ok := signed24(rawP)
		rawT, okT := signed16(rawT)
		return rawP * 100 / 4096, 42.5 + rawT/480, ok && okT
	}
}

// signed24 takes a count of 24 bits, which the layout may have read without its
// sign.
func signed24(v float64) (float64, bool) { return withSign(v, 1<<23) }

func signed16(v float64) (float64, bool) { return withSign(v, 1<<15) }

func withSign(v, half float64) (float64, bool) {
	if v >= half {
		v -= 2 * half
	}
	return v, inCounts(v+half, 2*half)
}
