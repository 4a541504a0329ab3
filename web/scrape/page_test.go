package scrape

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
	"pgregory.net/rapid"
)

// What is written is what the parser of the Prometheus project reads, whatever
// rockets and links are called.
func TestPageIsReadByPrometheus(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var p Page
		v := rapid.Float64().Draw(t, "value")
		name := rapid.String().Draw(t, "name")
		p.Gauge("padlark_b", "A \"gauge\".", v, "rocket", name, "link", "pad")
		p.Gauge("padlark_b", "A \"gauge\".", math.Inf(1), "rocket", name+"x", "link", "pad")
		p.Count("padlark_a_total", "A counter.", 7)
		h := NewHistogram(.1, 1)
		for _, s := range []float64{.05, .1, .5, 3} {
			h.Observe(s)
		}
		p.Histogram("padlark_c_seconds", "A histogram.", h, "route", "GET /")
		var text bytes.Buffer
		if err := p.Write(&text); err != nil {
			t.Fatal(err)
		}
		parser := expfmt.NewTextParser(model.UTF8Validation)
		got, err := parser.TextToMetricFamilies(&text)
		if err != nil || len(got) != 3 {
			t.Fatalf("%d families, %v", len(got), err)
		}
		found := false
		for _, m := range got["padlark_b"].Metric {
			if m.Label[0].GetValue() == strings.ToValidUTF8(name, "\uFFFD") {
				found = m.Gauge.GetValue() == v
			}
		}
		if !found {
			t.Errorf("the gauge of %q is not %v: %v", name, v, got["padlark_b"])
		}
		if n := got["padlark_a_total"].Metric[0].Counter.GetValue(); n != 7 {
			t.Errorf("counter %v", n)
		}
		read := got["padlark_c_seconds"].Metric[0].Histogram
		if read.GetSampleCount() != 4 || math.Abs(read.GetSampleSum()-3.65) > 1e-9 || len(read.Bucket) != 3 ||
			read.Bucket[0].GetCumulativeCount() != 2 || read.Bucket[1].GetCumulativeCount() != 3 {
			t.Errorf("histogram %v", read)
		}
	})
}
