package influx

import (
	"context"
	"os"
	"sort"
	"strconv"
	"testing"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"

	"padlark/decode"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/influx/influxtest"
	"padlark/storage/journal"
	"padlark/storage/sqlite"
)

// benchSamples is how many samples the speed is measured with; PADLARK_BENCH_POINTS
// sets another number.
func benchSamples(b *testing.B) uint64 {
	if v := os.Getenv("PADLARK_BENCH_POINTS"); v != "" {
		n, err := strconv.ParseUint(v, 10, 64)
		if err != nil {
			b.Fatalf("PADLARK_BENCH_POINTS: %v", err)
		}
		return n
	}
	return 50_000
}

// BenchmarkBackfill compares a backfill from the archive with a bare loop of the
// client library over lines that are ready, on the same server. Both send the
// same points in requests of the same size; bare/ours near 1 means that the
// server is the limit.
func BenchmarkBackfill(b *testing.B) {
	s := influxtest.Influx(b, false)
	r := newRig(b, "s1")
	n := benchSamples(b)
	fillArchive(b, r.archive, n)
	o := r.options(s)
	// Once unmeasured: a new database makes its index first.
	backfillOnce(b, r, o)
	texts := readBlocks(b, r.archive)
	var ours, bare time.Duration
	for b.Loop() {
		start := time.Now()
		bareLoop(b, texts, o)
		bare += time.Since(start)
		start = time.Now()
		backfillOnce(b, r, o)
		ours += time.Since(start)
	}
	b.ReportMetric(float64(n)*float64(b.N)/ours.Seconds(), "ours-points/s")
	b.ReportMetric(float64(n)*float64(b.N)/bare.Seconds(), "bare-points/s")
	b.ReportMetric(bare.Seconds()/ours.Seconds(), "bare/ours")
}

func fillArchive(b *testing.B, a *sqlite.Archive, n uint64) {
	b.Helper()
	var entries []storage.Entry
	for i := uint64(1); i <= n; i++ {
		s := testSample(testFrame("s1", "pad-radio", i))
		// What the built-in layout lark-bin gives.
		s.Values.Names = []string{decode.PressurePa, decode.TemperatureC, decode.CellV, decode.ReleaseUs, decode.ReleaseOn, decode.Armed}
		s.Values.Values = []float64{101325 - float64(i)/7, 20 + float64(i%100)/7, 4.1, 1500, 0, 1}
		entries = append(entries, storage.NewEntry(i, &s))
		if len(entries) == 4096 || i == n {
			if err := a.Write(b.Context(), entries); err != nil {
				b.Fatal(err)
			}
			entries = entries[:0]
		}
	}
}

func backfillOnce(b *testing.B, r *rig, o Options) {
	b.Helper()
	f, err := NewBackfill(o, r.archive, nil)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	if _, err := f.Session(b.Context(), "s1", false, nil); err != nil {
		b.Fatal(err)
	}
}

// readBlocks makes the lines of the session, in blocks of a request's size.
func readBlocks(b *testing.B, a *sqlite.Archive) []string {
	b.Helper()
	var out []string
	k := &block{}
	err := a.Samples(b.Context(), storage.Query{Session: "s1"}, func(m *decode.Sample) error {
		if k.take(appendSample(k.buf, "north-field", m, 0)); k.len() == chunkMost {
			out = append(out, k.text(0, k.len()))
			k.reset()
		}
		return nil
	})
	if err != nil {
		b.Fatal(err)
	}
	if k.len() > 0 {
		out = append(out, k.text(0, k.len()))
	}
	return out
}

func bareLoop(b *testing.B, texts []string, o Options) {
	b.Helper()
	c := influxdb2.NewClient(o.URL, o.Token)
	defer c.Close()
	w := c.WriteAPIBlocking("", o.Bucket)
	for _, t := range texts {
		if err := w.WriteRecord(b.Context(), t); err != nil {
			b.Fatal(err)
		}
	}
}

// TestCatchUpSparesTheLiveLine: while the writer catches up with a long backlog
// at full speed, what is heard reaches another follower of the journal as soon as
// before. The bound is generous for a busy test machine; the log has the numbers.
func TestCatchUpSparesTheLiveLine(t *testing.T) {
	if testing.Short() {
		t.Skip("sends a backlog of thousands of samples")
	}
	s := influxtest.Influx(t, false)
	r := newRig(t, "s1")
	r.publish(1, 5000)
	if err := r.writer.Drain(t.Context(), r.journal.State().End); err != nil {
		t.Fatal(err)
	}
	calm := r.latency(t, 5000, nil)
	w, stop := r.start(r.options(s))
	start := time.Now()
	busy := r.latency(t, 6000, func() bool { return w.State().Lines >= 8900 })
	took := time.Since(start)
	stop()
	t.Logf("backlog of 8,900 samples in %s; heard to handler: calm median %s, 99 %% %s; catching up median %s, 99 %% %s",
		took.Round(time.Millisecond), mid(calm, 0.5), mid(calm, 0.99), mid(busy, 0.5), mid(busy, 0.99))
	if d := mid(busy, 0.99); d > 200*time.Millisecond+2*mid(calm, 0.99) {
		t.Errorf("while catching up 99 %% of the frames come within %s, before %s", d, mid(calm, 0.99))
	}
}

// latency lets frames from number n on be heard one after the other and measures
// how long each takes to a follower that does not gather: 200 of them, or until
// done.
func (r *rig) latency(t *testing.T, n uint64, done func() bool) []time.Duration {
	t.Helper()
	got := make(chan struct{})
	f := journal.Follower{Name: "test", Journal: r.journal, From: r.journal.State().End}
	stop := r.running(func(ctx context.Context) error {
		return f.Run(ctx, func(ctx context.Context, es []storage.Entry, _ int64) error {
			for range es {
				select {
				case got <- struct{}{}:
				case <-ctx.Done():
				}
			}
			return nil
		})
	})
	defer stop()
	var out []time.Duration
	for i := uint64(0); done == nil && i < 200 || done != nil && !done(); i++ {
		start := time.Now()
		r.journal.Frames([]ingest.Frame{testFrame("s1", "pad-radio", n+i)})
		<-got
		out = append(out, time.Since(start))
	}
	sort.Slice(out, func(i, j int) bool { return out[i] < out[j] })
	return out
}

// mid is a quantile of sorted durations.
func mid(d []time.Duration, q float64) time.Duration {
	if len(d) == 0 {
		return 0
	}
	return d[min(len(d)-1, int(q*float64(len(d))))]
}
