package flight_test

import (
	"fmt"
	"sync"
	"testing"

	"padlark/flight/ensemble"
)

// curveAt are the rates of false alarms that the operating curve is taken at, as the
// falls under a parachute of which one is called ballistic by what is stated; the third
// is the one in use.
var curveAt = [...]float64{10, 100, 300, 3000}

// BenchmarkBallisticCurve is the operating curve of the test for a ballistic fall: what
// share of healthy flights it calls falsely, and how much of a fall is left when it calls
// a true one, for four stated rates of false alarms:
//
//	go test ./flight -run=NONE -bench=BallisticCurve -benchtime=1x
//
// 400 healthy flights of each world and 200 falls from 50 m and more whose parachute
// stays in, or that nobody tells of; PADLARK_BENCH and PADLARK_BENCH_SEED as in
// BenchmarkEnsemble. WORLD_false_RATE is in 1000 flights, WORLD_left_RATE the part of the
// fall that is left in 99 of 100, WORLD_left50_RATE in half of them.
func BenchmarkBallisticCurve(b *testing.B) {
	for range b.N {
		for _, w := range faultWorlds() {
			name := w.name
			if name == "" {
				name = "nominal_"
			}
			reportFalse(b, name, healthy(w.spec), int(400*benchScale(b)))
			reportLeft(b, name, w.spec, int(200*benchScale(b)))
		}
	}
	b.ReportMetric(0, "ns/op")
}

// healthy is a world without faults: releases within a second.
func healthy(s ensemble.Spec) ensemble.Spec {
	s.LateShare, s.EarlyShare, s.NoneShare = 0, 0, 0
	return s
}

func reportFalse(b *testing.B, world string, spec ensemble.Spec, n int) {
	b.Helper()
	var mu sync.Mutex
	var wrong [len(curveAt)]float64
	seed := 8800 + benchSeed(b)
	each(n, func(i int) {
		f, err := ensemble.Draw(spec, seed, uint64(i))
		if err != nil {
			b.Error(err)
			return
		}
		for k, falls := range curveAt {
			raised, err := listenAt(&f, f.Truth.TouchdownS, falls)
			if err != nil {
				b.Error(err)
				return
			}
			if firstOf(raised, "ballistic", 0) != nil {
				mu.Lock()
				wrong[k]++
				mu.Unlock()
			}
		}
	})
	for k, falls := range curveAt {
		b.ReportMetric(1000*wrong[k]/float64(n), fmt.Sprintf("%sfalse_%g", world, falls))
		b.ReportMetric(1000*most95(wrong[k])/float64(n), fmt.Sprintf("%sfalse_%g_to95", world, falls))
	}
}

func reportLeft(b *testing.B, world string, spec ensemble.Spec, n int) {
	b.Helper()
	var mu sync.Mutex
	var left [len(curveAt)][]float64
	seed := 8900 + benchSeed(b)
	each(n, func(i int) {
		f, err := ensemble.Draw(spec, seed, uint64(i))
		if err != nil {
			b.Error(err)
			return
		}
		g, _, err := ensemble.Inject("ballistic", &f, seed)
		if err != nil {
			b.Error(err)
			return
		}
		u := &g.Truth
		if u.ApogeeM < 50 {
			return
		}
		for k, falls := range curveAt {
			raised, err := listenAt(&g, u.TouchdownS, falls)
			if err != nil {
				b.Error(err)
				return
			}
			part := 0.0
			if r := firstOf(raised, "ballistic", u.ApogeeS-early); r != nil {
				part = (u.TouchdownS - r.at) / (u.TouchdownS - u.ApogeeS)
			}
			mu.Lock()
			left[k] = append(left[k], part)
			mu.Unlock()
		}
	})
	for k, falls := range curveAt {
		b.ReportMetric(quantile(left[k], 0.01), fmt.Sprintf("%sleft_%g", world, falls))
		b.ReportMetric(quantile(left[k], 0.5), fmt.Sprintf("%sleft50_%g", world, falls))
	}
}

// firstOf is the first alarm of a kind from a time on, nil if there is none.
func firstOf(raised []raise, kind string, from float64) *raise {
	for i := range raised {
		if raised[i].alarm.Kind == kind && raised[i].at >= from {
			return &raised[i]
		}
	}
	return nil
}
