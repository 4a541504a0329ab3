package station

import (
	"context"
	"fmt"
	"testing"
	"time"

	"padlark/bus"
	"padlark/decode"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/batch"
	"padlark/storage/uplink"
)

// A configuration that a station takes over while it runs reaches the centre with
// what is heard under it: a new link with a layout of its own is read there as at the
// station, and so it is when the centre is started anew or hears all of it twice.
func TestReloadReachesTheCentre(t *testing.T) {
	url := outside(t)
	u, err := uplink.New(uplink.Options{Remote: bus.Remote{URL: url}})
	if err != nil {
		t.Fatal(err)
	}
	defer u.Close()
	info := farAway("north-field", "s1")
	changed := info
	changed.Config += "[[link]]\nname = \"late\"\nudp = \"127.0.0.1:10\"\nlayout = \"my-board\"\nrocket = \"Slate\"\n" +
		"[[layout]]\nname = \"my-board\"\nframing = \"line\"\nform = \"delimited\"\nfields = [ { name = \"seq\" }, { name = \"pressure_pa\", unit = \"hPa\" } ]\n"
	changed.Links = append(info.Links[:1:1], ingest.CaptureLink{Name: "late", Kind: "udp", Layout: "my-board"})
	x := u.Session(info, 0)
	place := int64(0)
	heard := func(link string, from, to uint64, change *storage.Change) {
		t.Helper()
		var in []storage.Entry
		if change != nil {
			place += 10
			in = append(in, storage.Entry{Seq: uint64(place), Change: change})
		}
		for n := from; n <= to; n++ {
			place += 10
			text := numberedText(int(n))
			if link == "late" {
				text = fmt.Appendf(nil, "%d,980.5", n)
			}
			mono := place * int64(time.Millisecond)
			in = append(in, storage.Entry{Seq: uint64(place), Frame: &ingest.Frame{Link: link, N: n, Mono: mono, Passed: mono, Bytes: text}})
		}
		if err := x.Send(soon(t), in, place); err != nil {
			t.Fatal(err)
		}
	}
	heard("net", 1, 10, nil)
	heard("late", 1, 10, &storage.Change{Session: "s1", At: place*int64(time.Millisecond) + 1, Info: changed})
	heard("net", 11, 20, nil)

	data := t.TempDir()
	for range 2 { // the second one is another collector, which gets everything again
		centre := openCentre(t, data)
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		frames := 0
		err := Collect(ctx, Collection{Remote: bus.Remote{URL: url}, Name: fmt.Sprintf("centre-%d", time.Now().UnixNano())}, func(ctx context.Context, b *batch.Batch) error {
			if frames += len(b.Frames); frames >= 30 {
				cancel()
			}
			return centre.Take(ctx, b)
		}, func(error) {})
		cancel()
		if err != nil {
			t.Fatal(err)
		}
		if err := centre.Close(); err != nil {
			t.Fatal(err)
		}
		s, err := centre.archive.Session(t.Context(), "s1")
		if err != nil || len(s.Changes) != 1 || s.Changes[0].Config != changed.Config {
			t.Errorf("changes of the configuration: %+v, %v", s.Changes, err)
		}
		got := map[string]int{}
		err = centre.archive.Samples(t.Context(), storage.Query{Session: "s1"}, func(m *decode.Sample) error {
			if pa, ok := m.Values.Get(decode.PressurePa); ok && (m.Link == "net" || pa == 98050) {
				got[m.Link+" "+m.Rocket]++
			}
			return nil
		})
		if err != nil || got["net id-7"] != 20 || got["late Slate"] != 10 || len(got) != 2 {
			t.Errorf("samples by link and rocket: %v, %v", got, err)
		}
		if err := centre.archive.Close(); err != nil {
			t.Fatal(err)
		}
	}
}
