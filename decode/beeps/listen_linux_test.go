package beeps_test

import (
	"math/rand/v2"
	"os"
	"runtime"
	"strconv"
	"syscall"
	"testing"
	"time"

	"padlark/decode/beeps"
	hear "padlark/ingest/beeps"
)

// BenchmarkListen streams an hour of sound at 48 kHz (PADLARK_LISTEN_MIN: so many
// minutes) in pieces of 4096 samples, a field with a sounder half of the time, listens
// and reads: the processor time as a part of one processor, and what is held.
//
//	go test ./decode/beeps -run=NONE -bench=Listen -benchtime=1x
func BenchmarkListen(b *testing.B) {
	minutes := 60
	if v, err := strconv.Atoi(os.Getenv("PADLARK_LISTEN_MIN")); err == nil && v > 0 {
		minutes = v
	}
	const rate = 48000
	code := beeps.Code{Repeats: 3}
	sound, err := beeps.Sound(code, 247, 2700, rate)
	if err != nil {
		b.Fatal(err)
	}
	minute, r := make([]float64, 60*rate), rand.New(rand.NewPCG(1, 16))
	for i := range minute {
		minute[i] = 0.2 * r.NormFloat64()
		if i < len(sound) {
			minute[i] += 0.3 * sound[i]
		}
	}
	for b.Loop() {
		l, err := hear.NewListener(rate)
		if err != nil {
			b.Fatal(err)
		}
		sure, early, most := 0, 0, 0
		read := func(strips []hear.Strip) {
			for _, s := range strips {
				if got := beeps.Read(s, code); got.Sure && got.Number == 247 {
					sure++
				}
			}
		}
		begin := processor(b)
		for m := range minutes {
			for at := 0; at < len(minute); at += 4096 {
				read(l.Push(minute[at:min(len(minute), at+4096)]))
			}
			if m == min(2, minutes-1) {
				early = heap()
			}
			most = max(most, l.Held())
		}
		read(l.End())
		used := processor(b) - begin
		b.ReportMetric(100*used.Seconds()/float64(60*minutes), "%_of_a_processor")
		b.ReportMetric(float64(early)/1e6, "MB_after_3_min")
		b.ReportMetric(float64(heap())/1e6, "MB_at_the_end")
		b.ReportMetric(float64(most)/1e6, "MB_held_at_most")
		b.ReportMetric(float64(sure), "read")
	}
	b.ReportMetric(0, "ns/op") // processor time is what counts
}

// processor is the time that this process has used of processors.
func processor(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func heap() int {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int(m.HeapAlloc)
}
