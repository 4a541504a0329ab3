package decode

import (
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

// bmp388Example are words of the size that such sensors have. The datasheet has no
// worked example; that a board's words give the weather of a field is what
// TestInvertBarometer shows, and a wrong power of two would not.
func bmp388Example() Barometer {
	return Barometer{Sensor: "bmp388", Words: map[string]int64{
		"T1": 27732, "T2": 19000, "T3": -7, "P1": -1028, "P2": -2000, "P3": 35, "P4": 0,
		"P5": 24000, "P6": 30000, "P7": -10, "P8": -6, "P9": 15000, "P10": 4, "P11": -60,
	}}
}

// dps310Example likewise.
func dps310Example() Barometer {
	return Barometer{Sensor: "dps310", Oversampling: 16, OversamplingT: 1, Words: map[string]int64{
		"c0": 206, "c1": -263, "c00": 80469, "c10": -54769, "c01": -2803, "c11": 1226, "c20": -9787, "c21": 71, "c30": -700,
	}}
}

// TestLPS: 3FF58D is 1023.3 hPa by the datasheets of the LPS22 and LPS25 families
// (from memory); 480 counts to the degC from 42.5 degC on likewise.
func TestLPS(t *testing.T) {
	for _, name := range []string{"lps22", "lps25"} {
		pa, _, ok := build(t, Barometer{Sensor: name})(0x3ff58d, 0)
		if !ok {
			t.Fatal(name)
		}
		near(t, name+" pressure in hPa", pa/100, 1023.3, 0.05)
	}
	_, degC, _ := build(t, Barometer{Sensor: "lps25"})(0x3ff58d, 0x10000-480*20)
	near(t, "lps25 temperature", degC, 22.5, 1e-9)
	_, degC, _ = build(t, Barometer{Sensor: "lps22"})(0x3ff58d, 2150)
	near(t, "lps22 temperature", degC, 21.5, 1e-9)
	// What was read without its sign is the same.
	a, _, _ := build(t, dps310Example())(-100000, 155000)
	b, _, _ := build(t, dps310Example())(1<<24-100000, 155000)
	near(t, "without its sign", b, a, 0)
}

// TestPolynomialsExactly evaluates the datasheets' sums once more, term by term and
// in exact fractions.
func TestPolynomialsExactly(t *testing.T) {
	rat := func(v int64, power int) *big.Rat { // v / 2^power
		r := new(big.Rat).SetInt64(v)
		two := new(big.Rat).SetInt64(2)
		for ; power > 0; power-- {
			r.Quo(r, two)
		}
		for ; power < 0; power++ {
			r.Mul(r, two)
		}
		return r
	}
	sum := func(terms ...[]*big.Rat) float64 {
		total := new(big.Rat)
		for _, factors := range terms {
			one := new(big.Rat).SetInt64(1)
			for _, f := range factors {
				one.Mul(one, f)
			}
			total.Add(total, one)
		}
		v, _ := total.Float64()
		return v
	}
	w := bmp388Example().Words
	calc := build(t, bmp388Example())
	d, c := dps310Example().Words, build(t, dps310Example())
	rapid.Check(t, func(rt *rapid.T) {
		rawP, rawT := rapid.Int64Range(5e6, 8e6).Draw(rt, "p"), rapid.Int64Range(7.5e6, 9e6).Draw(rt, "t")
		if rawT == 1<<23 {
			rawT++
		}
		pd := new(big.Rat).Sub(rat(rawT, 0), rat(w["T1"], -8))
		tl := new(big.Rat).Add(new(big.Rat).Mul(pd, rat(w["T2"], 30)), new(big.Rat).Mul(new(big.Rat).Mul(pd, pd), rat(w["T3"], 48)))
		u := rat(rawP, 0)
		want := sum([]*big.Rat{rat(w["P5"], -3)}, []*big.Rat{rat(w["P6"], 6), tl}, []*big.Rat{rat(w["P7"], 8), tl, tl}, []*big.Rat{rat(w["P8"], 15), tl, tl, tl},
			[]*big.Rat{u, rat(w["P1"]-16384, 20)}, []*big.Rat{u, rat(w["P2"]-16384, 29), tl}, []*big.Rat{u, rat(w["P3"], 32), tl, tl}, []*big.Rat{u, rat(w["P4"], 37), tl, tl, tl},
			[]*big.Rat{u, u, rat(w["P9"], 48)}, []*big.Rat{u, u, rat(w["P10"], 48), tl}, []*big.Rat{u, u, u, rat(w["P11"], 65)})
		pa, degC, ok := calc(float64(rawP), float64(rawT))
		wantC, _ := tl.Float64()
		if !ok || pa-want > 1e-6 || want-pa > 1e-6 || degC-wantC > 1e-9 || wantC-degC > 1e-9 {
			rt.Fatalf("bmp388: %v Pa %v degC, exactly %v and %v", pa, degC, want, wantC)
		}
		rawP, rawT = rapid.Int64Range(-2e5, 2e5).Draw(rt, "p"), rapid.Int64Range(-1e5, 4e5).Draw(rt, "t")
		p, k := new(big.Rat).SetFrac64(rawP, 253952), new(big.Rat).SetFrac64(rawT, 524288)
		want = sum([]*big.Rat{rat(d["c00"], 0)}, []*big.Rat{rat(d["c10"], 0), p}, []*big.Rat{rat(d["c20"], 0), p, p}, []*big.Rat{rat(d["c30"], 0), p, p, p},
			[]*big.Rat{rat(d["c01"], 0), k}, []*big.Rat{rat(d["c11"], 0), k, p}, []*big.Rat{rat(d["c21"], 0), k, p, p})
		wantC = sum([]*big.Rat{rat(d["c0"], 1)}, []*big.Rat{rat(d["c1"], 0), k})
		pa, degC, ok = c(float64(rawP), float64(rawT))
		if !ok || pa-want > 1e-6 || want-pa > 1e-6 || degC-wantC > 1e-9 || wantC-degC > 1e-9 {
			rt.Fatalf("dps310: %v Pa %v degC, exactly %v and %v", pa, degC, want, wantC)
		}
	})
}
