// Package scrape writes what a monitoring program reads: numbers with names, in
// the text format 0.0.4 of Prometheus (its documentation, "Exposition formats").
// It imports nothing of ours.
package scrape

import (
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Page gathers the numbers of one scrape.
type Page struct{ families map[string]*family }

// family are the lines of one name, which the format wants together.
type family struct {
	help, kind string
	lines      []string
}

// Gauge adds a number that goes up and down. labels are names and values in turn.
func (p *Page) Gauge(name, help string, v float64, labels ...string) {
	p.add(name, "", help, "gauge", v, labels)
}

// Count adds a number that only rises.
func (p *Page) Count(name, help string, v uint64, labels ...string) {
	p.add(name, "", help, "counter", float64(v), labels)
}

// Histogram adds how many values were not above each of the bounds, all of them,
// and their sum.
func (p *Page) Histogram(name, help string, h *Histogram, labels ...string) {
	for i, n := range h.counts {
		bound := math.Inf(1)
		if i < len(h.bounds) {
			bound = h.bounds[i]
		}
		p.add(name, "_bucket", help, "histogram", float64(n), append(slices.Clone(labels), "le", number(bound)))
	}
	p.add(name, "_sum", help, "histogram", h.sum, labels)
	p.add(name, "_count", help, "histogram", float64(h.counts[len(h.bounds)]), labels)
}

func (p *Page) add(name, suffix, help, kind string, v float64, labels []string) {
	f := p.families[name]
	if f == nil {
		f = &family{help: help, kind: kind}
		if p.families == nil {
			p.families = map[string]*family{}
		}
		p.families[name] = f
	}
	escape := strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`)
	pairs := make([]string, len(labels)/2)
	for i := range pairs {
		pairs[i] = labels[2*i] + `="` + escape.Replace(strings.ToValidUTF8(labels[2*i+1], "\uFFFD")) + `"`
	}
	line := name + suffix
	if len(pairs) > 0 {
		line += "{" + strings.Join(pairs, ",") + "}"
	}
	f.lines = append(f.lines, line+" "+number(v)+"\n")
}

func number(v float64) string {
	if math.IsInf(v, 1) {
		return "+Inf"
	}
	return strconv.FormatFloat(v, 'g', -1, 64)
}

// Write writes the page, by name.
func (p *Page) Write(w io.Writer) error {
	for _, name := range slices.Sorted(maps.Keys(p.families)) {
		f := p.families[name]
		if f.kind != "histogram" { // whose bounds rise
			slices.Sort(f.lines)
		}
		if _, err := fmt.Fprintf(w, "# HELP %s %s\n# TYPE %[1]s %[3]s\n%[4]s", name, f.help, f.kind, strings.Join(f.lines, "")); err != nil {
			return fmt.Errorf("write metrics: %w", err)
		}
	}
	return nil
}

// Histogram counts values by bounds, which rise.
type Histogram struct {
	bounds []float64
	counts []uint64 // not above each bound; the last are all
	sum    float64
}

// NewHistogram makes one.
func NewHistogram(bounds ...float64) *Histogram {
	return &Histogram{bounds: bounds, counts: make([]uint64, len(bounds)+1)}
}

// Observe counts a value.
func (h *Histogram) Observe(v float64) {
	for i := range h.counts {
		if i == len(h.bounds) || v <= h.bounds[i] {
			h.counts[i]++
		}
	}
	h.sum += v
}
