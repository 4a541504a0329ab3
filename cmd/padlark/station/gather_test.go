package station

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/rs/zerolog"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/batch"
	"padlark/storage/journal"
	"padlark/storage/sqlite"
)

var gatherEpoch = time.Date(2031, 5, 17, 9, 0, 0, 0, time.UTC)

// farAway is a session of another station.
func farAway(station, session string) ingest.CaptureInfo {
	return ingest.CaptureInfo{
		Station: station, Session: session, Epoch: gatherEpoch, Links: []ingest.CaptureLink{{Name: "net", Kind: "udp", Layout: "lark-text"}},
		Config: "[station]\nname = \"" + station + "\"\n[[link]]\nname = \"net\"\nudp = \"127.0.0.1:9\"\nlayout = \"lark-text\"\n",
	}
}

// sent is a batch of frames, with an event at its end.
func sent(t *testing.T, info ingest.CaptureInfo, described bool, from, to uint64) *batch.Batch {
	t.Helper()
	b := &batch.Batch{Station: info.Station, Session: info.Session, From: int64(100 * from), To: int64(100*to + 100)}
	if described {
		b.Info = &info
	}
	var in []storage.Entry
	for n := from; n <= to; n++ {
		mono := int64(n) * 50e6
		in = append(in, storage.Entry{Frame: &ingest.Frame{
			Session: info.Session, Link: "net", N: n, Mono: mono, Passed: mono + 1000, Heard: gatherEpoch.Add(time.Duration(mono)), Wire: 40,
			Bytes: numberedText(int(n)),
		}})
	}
	at := gatherEpoch.Add(time.Duration(to) * 50e6)
	in = append(in, storage.Entry{Event: &flight.Event{Session: info.Session, ID: at.String(), At: at, CalledAt: at, Rocket: "Teal", Kind: flight.Apogee, Flight: 1}})
	b.Put(map[string]uint16{"net": 0}, in)
	data, err := b.Encode()
	if err != nil {
		t.Fatal(err)
	}
	if b, err = batch.Read(data); err != nil {
		t.Fatal(err)
	}
	return b
}

// numberedText is a frame of lark-text.
func numberedText(n int) []byte {
	body := fmt.Sprintf("PLRK,7,1,%d,%d,98800,1800,4100,1000,0", n, 1000+50*n)
	var sum byte
	for _, c := range []byte(body) {
		sum ^= c
	}
	return fmt.Appendf(nil, "$%s*%02X", body, sum)
}

// centre is a collector without a server.
type centre struct {
	*Gathering
	archive *sqlite.Archive
	data    string
}

func openCentre(t *testing.T, data string) *centre {
	t.Helper()
	a, err := sqlite.Open(t.Context(), filepath.Join(data, sqlite.FileName), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	g, err := NewGathering(t.Context(), a, data, zerolog.New(zerolog.NewTestWriter(t)))
	if err != nil {
		t.Fatal(err)
	}
	return &centre{g, a, data}
}

func (c *centre) close(t *testing.T) {
	t.Helper()
	if err := errors.Join(c.Close(), c.archive.Close()); err != nil {
		t.Fatal(err)
	}
}

func (c *centre) take(t *testing.T, batches ...*batch.Batch) {
	t.Helper()
	for _, b := range batches {
		if err := c.Take(t.Context(), b); err != nil {
			t.Fatal(err)
		}
	}
}

// has is the numbers of the frames that a session's journal and the archive have,
// and how many events.
func has(t *testing.T, data, session string) (inJournal, inArchive []uint64, events int) {
	t.Helper()
	path := filepath.Join(data, "journal", session+journal.Suffix)
	if _, err := os.Stat(path); err != nil {
		path = filepath.Join(data, "journal", session+journal.Packed)
	}
	r, err := journal.Open(path, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for {
		e, err := r.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if e.Frame != nil {
			inJournal = append(inJournal, e.Frame.N)
		} else {
			events++
		}
	}
	a, err := sqlite.OpenReadOnly(filepath.Join(data, sqlite.FileName))
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	err = a.Frames(t.Context(), storage.Query{Session: session, Recorded: true}, func(f ingest.Frame) error {
		inArchive = append(inArchive, f.N)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return inJournal, inArchive, events
}

func upTo(n uint64) (out []uint64) {
	for i := uint64(1); i <= n; i++ {
		out = append(out, i)
	}
	return out
}

// What comes twice is there once, in the journal and in the archive; a collector
// that is started again, also after it was killed, goes on; a session that is
// over is closed and put away.
func TestGathering(t *testing.T) {
	data := t.TempDir()
	north, south := farAway("north-field", "s-north"), farAway("south-field", "s-south")
	c := openCentre(t, data)
	c.take(t, sent(t, north, true, 1, 100), sent(t, south, true, 1, 50), sent(t, north, false, 101, 200))
	c.take(t, sent(t, north, false, 101, 200)) // an acknowledgement was lost
	c.take(t, sent(t, north, false, 151, 250)) // and a place
	c.close(t)

	c = openCentre(t, data)
	c.take(t, sent(t, north, false, 201, 300), sent(t, south, true, 51, 60))
	c.close(t)
	c = openCentre(t, data)
	end := int64(300 * 50e6)
	over := sent(t, north, false, 290, 310)
	over.End = &end
	c.take(t, over)
	c.take(t, sent(t, north, false, 311, 320)) // a session that is over has no more
	interrupted := sent(t, south, false, 61, 70)
	interrupted.End = new(int64)
	c.take(t, interrupted)
	c.close(t)
	c = openCentre(t, data)
	c.take(t, over)
	c.close(t)

	for session, want := range map[string]struct {
		frames uint64
		events int
		ended  time.Time
	}{"s-north": {310, 5, gatherEpoch.Add(15 * time.Second)}, "s-south": {70, 3, time.Time{}}} {
		inJournal, inArchive, events := has(t, data, session)
		if d := cmp.Diff(upTo(want.frames), inJournal); d != "" {
			t.Errorf("journal of %s (-want +got):\n%s", session, d)
		}
		if d := cmp.Diff(upTo(want.frames), inArchive); d != "" {
			t.Errorf("archive of %s (-want +got):\n%s", session, d)
		}
		if events != want.events {
			t.Errorf("%s: %d events, want %d", session, events, want.events)
		}
		if _, err := os.Stat(filepath.Join(data, "journal", session+journal.Packed)); err != nil {
			t.Errorf("the journal of a session that is over: %v", err)
		}
		a, err := sqlite.OpenReadOnly(filepath.Join(data, sqlite.FileName))
		if err != nil {
			t.Fatal(err)
		}
		defer a.Close()
		row, err := a.Session(t.Context(), session)
		if err != nil {
			t.Fatal(err)
		}
		if !row.Ended.Equal(want.ended) || row.Config == "" || len(row.Links) != 1 {
			t.Errorf("session %+v", row)
		}
		samples := 0
		if err := a.Samples(t.Context(), storage.Query{Session: session}, func(*decode.Sample) error { samples++; return nil }); err != nil {
			t.Fatal(err)
		}
		if samples != int(want.frames) {
			t.Errorf("%s: %d samples of %d frames", session, samples, want.frames)
		}
	}
}

// What cannot be taken is said and passed over; it stops nobody else.
func TestGatheringStrange(t *testing.T) {
	data := t.TempDir()
	c := openCentre(t, data)
	north := farAway("north-field", "s1")
	c.take(t, sent(t, north, false, 1, 100)) // not described yet
	c.take(t, sent(t, north, true, 101, 110))
	c.take(t, sent(t, farAway("south-field", "s1"), true, 1, 200)) // of the same name
	newer := farAway("west-field", "s2")
	newer.Config = "[station]\nname = \"west-field\"\nflavour = 7\n"
	c.take(t, sent(t, newer, true, 1, 20))
	strange := sent(t, north, false, 111, 120)
	strange.Frames[3].Link = 7
	c.take(t, strange)
	c.take(t, sent(t, north, false, 111, 130))
	c.close(t)
	inJournal, inArchive, _ := has(t, data, "s1")
	if len(inJournal) != 30 || inJournal[0] != 101 || len(inArchive) != 30 {
		t.Errorf("%d frames in the journal from %d on, %d in the archive", len(inJournal), inJournal[0], len(inArchive))
	}
	r, err := journal.Open(filepath.Join(data, "journal", "s2"+journal.Suffix), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	n := 0
	for _, err := r.Next(); err == nil; _, err = r.Next() {
		n++
	}
	if n != 21 {
		t.Errorf("%d entries of a station whose configuration is of a later version, want 21", n)
	}
}
