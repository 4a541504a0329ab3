package bus

import (
	"encoding/json"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"padlark/decode"
	"padlark/ingest"
)

// same fails unless both readers agree about a text that the quick one takes.
func same(t interface{ Fatalf(string, ...any) }, b []byte) (frame, sample bool) {
	if got, ok := quickFrame(b); ok {
		var want ingest.Frame
		if err := json.Unmarshal(b, &want); err != nil || !reflect.DeepEqual(got, want) {
			t.Fatalf("frame %s\n got  %+v\n want %+v, %v", b, got, want, err)
		}
		frame = true
	}
	if got, ok := quickSample(b); ok {
		var want decode.Sample
		if err := json.Unmarshal(b, &want); err != nil || !equalSample(got, want) {
			t.Fatalf("sample %s\n got  %+v\n want %+v, %v", b, got, want, err)
		}
		sample = true
	}
	return frame, sample
}

func equalSample(a, b decode.Sample) bool {
	if len(a.Values.Names) == 0 && len(b.Values.Names) == 0 {
		a.Values, b.Values = decode.Channels{}, decode.Channels{}
	}
	return reflect.DeepEqual(a, b)
}

// TestQuickReadsAll: what this package writes with plain names, the quick readers
// take, and they read it as encoding/json does.
func TestQuickReadsAll(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.StringMatching(`[a-zA-Z0-9 _.-]{0,10}`)
		f := testFrame(rapid.Uint64Range(0, 1<<62).Draw(t, "n"))
		f.Link, f.Session = word.Draw(t, "link"), word.Draw(t, "session")
		f.Mono, f.Passed = rapid.Int64().Draw(t, "mono"), rapid.Int64().Draw(t, "passed")
		f.Heard = epoch.Add(1)
		f.Baud, f.Bytes = rapid.IntRange(0, 1e6).Draw(t, "baud"), rapid.SliceOf(rapid.Byte()).Draw(t, "bytes")
		s := testSample(f.N)
		s.Heard, s.At = epoch, epoch
		s.Values = decode.Channels{}
		for _, c := range rapid.SliceOfDistinct(word, func(s string) string { return s }).Draw(t, "names") {
			s.Values.Names = append(s.Values.Names, c)
			s.Values.Values = append(s.Values.Values, rapid.Float64().Draw(t, "value"))
		}
		if rapid.Bool().Draw(t, "rssi") {
			v := rapid.Float64Range(-150, 0).Draw(t, "dBm")
			f.RSSI, s.RSSI = &v, &v
		}
		for _, v := range []any{f, s} {
			b, err := json.Marshal(v)
			if err != nil {
				t.Fatal(err)
			}
			frame, sample := same(t, b)
			if !frame && !sample {
				t.Fatalf("not taken: %s", b)
			}
		}
	})
}

// FuzzQuick: whatever the quick readers take, encoding/json reads alike.
func FuzzQuick(f *testing.F) {
	for _, v := range []any{testFrame(7), testSample(7)} {
		b, err := json.Marshal(v)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Add([]byte(`{"session":"s","link":"l","n":01,"heard":"2031-05-17T09:00:00Z","mono_ns":-0,"passed_ns":1e3,"wire":1,"bytes":"AQI="}`))
	f.Add([]byte(`{"session":"s","link":"l","n":1,"rocket":"r","boot":1,"seq":-1,"clock_us":-1,"heard":"2031-05-17T09:00:00+02:00","at":"2031-05-17T24:00:00Z","passed_ns":1,"channels":{"a":1,"a":2,"b":1e999}}`))
	f.Fuzz(func(t *testing.T, b []byte) { same(t, b) })
}
