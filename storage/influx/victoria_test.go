package influx

import (
	"bufio"
	"encoding/json"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"padlark/decode"
	"padlark/storage"
	"padlark/storage/influx/influxtest"
)

// TestVictoriaMetrics: the same writer against another server that takes line
// protocol at the v2 write address. It keeps whole milliseconds and one series
// per field, and merges what it gets twice if it is started with
// -dedup.minScrapeInterval=1ms, so twins within one ms become one point there.
func TestVictoriaMetrics(t *testing.T) {
	s := influxtest.Victoria(t)
	path := influxtest.NewPath(t, s.URL)
	r := newRig(t, "s1")
	w, stop := r.start(viaPath(r.options(s), path))
	r.publish(1, 200)
	until(t, "the first write", func() bool { return w.State().Lines > 0 })
	path.CutAfter(10_000)
	r.publish(200, 500)
	until(t, "the cut", path.IsCut)
	path.Mend()
	r.settled(w, 30*time.Second)
	if err := r.archive.EndSession(t.Context(), "s1", epoch.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	stop()
	r.sameAsVictoria(s)
	// Once more, from the archive: nothing is doubled.
	b, err := NewBackfill(w.opt, r.archive, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	if _, err := b.Session(t.Context(), "s1", false, nil); err != nil {
		t.Fatal(err)
	}
	r.sameAsVictoria(s)
	if n := w.State().Rejected; n != 0 {
		t.Errorf("%d lines set aside", n)
	}
}

// sameAsVictoria compares one channel of every sample.
func (r *rig) sameAsVictoria(s *influxtest.Server) {
	r.t.Helper()
	type key struct {
		rocket, link string
		ms           int64
	}
	want := map[key][]float64{}
	err := r.archive.Samples(r.t.Context(), storage.Query{Session: "s1"}, func(m *decode.Sample) error {
		v, _ := m.Values.Get(decode.PressurePa)
		k := key{m.Rocket, m.Link, m.At.UnixMilli()}
		want[k] = append(want[k], v)
		return nil
	})
	if err != nil {
		r.t.Fatal(err)
	}
	s.Get("/internal/force_flush")
	got := 0
	for _, series := range export(r.t, s, `{__name__="sample_pressure_pa"}`) {
		for i, ms := range series.Timestamps {
			got++
			found := false
			for _, v := range want[key{series.Metric["rocket"], series.Metric["link"], ms}] {
				// It rounds to about 12 digits.
				found = found || v-series.Values[i] < 1e-6 && series.Values[i]-v < 1e-6
			}
			if !found {
				r.t.Fatalf("%v at %d ms: %v, archive has none such", series.Metric, ms, series.Values[i])
			}
		}
	}
	if got != len(want) {
		r.t.Errorf("server has %d points, archive %d different times", got, len(want))
	}
}

type victoriaSeries struct {
	Metric     map[string]string
	Values     []float64
	Timestamps []int64
}

func export(t testing.TB, s *influxtest.Server, match string) []victoriaSeries {
	t.Helper()
	q := url.Values{"match[]": {match}, "start": {"2021-01-01T00:00:00Z"}, "end": {"2022-01-01T00:00:00Z"}, "reduce_mem_usage": {"0"}}
	resp, err := http.Get(s.URL + "/api/v1/export?" + q.Encode())
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	var out []victoriaSeries
	lines := bufio.NewScanner(resp.Body)
	lines.Buffer(nil, 16<<20)
	for lines.Scan() {
		if strings.TrimSpace(lines.Text()) == "" {
			continue
		}
		var v victoriaSeries
		if err := json.Unmarshal(lines.Bytes(), &v); err != nil {
			t.Fatalf("export: %v: %s", err, lines.Text())
		}
		out = append(out, v)
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
	return out
}
