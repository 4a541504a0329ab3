package sqlite

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
)

func readFrames(t testing.TB, a *Archive, filter storage.Query) []ingest.Frame {
	t.Helper()
	var out []ingest.Frame
	filter.Session, filter.Recorded = "s1", true
	err := a.Frames(t.Context(), filter, func(f ingest.Frame) error { out = append(out, f); return nil })
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func readSamples(t testing.TB, a *Archive, q storage.Query) []decode.Sample {
	t.Helper()
	var out []decode.Sample
	err := a.Samples(t.Context(), q, func(s *decode.Sample) error { out = append(out, *s); return nil })
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// everything is one message of each stored kind and variant.
func everything() []any {
	odd := testFrame("udp", 1)
	odd.Heard = odd.Heard.Add(3 * time.Nanosecond) // not epoch + mono
	odd.Baud, odd.Wire, odd.Bytes = 0, 0, []byte{}
	bare := testSample("id-9", "udp", 2)
	bare.Seq, bare.Clock, bare.Boot, bare.RSSI = -1, -1, 0, nil
	bare.Values = decode.Channels{Names: []string{}, Values: []float64{}}
	return []any{
		testFrame("pad-radio", 1), odd, testFrame("udp", 2), testFrame("pad-radio", 2), testFrame("pad-radio", 3),
		testSample("Teal", "pad-radio", 1), bare, testSample("Teal", "pad-radio", 3),
		decode.Rejected{Session: "s1", Link: "pad-radio", N: 2, Reject: decode.Reject{
			Kind: decode.Corrupt, Reason: decode.ReasonChecksum, Detail: "computed 1a2b, sent 1a2c", Layout: "lark-bin", Offset: 22}},
		decode.Rejected{Session: "s1", Link: "udp", N: 1, Reject: decode.Reject{Kind: decode.Unknown, Reason: decode.ReasonLength, Offset: -1}},
		liftoff("Teal", 1, epoch.Add(time.Second)),
		flight.Event{Session: "s1", ID: "timefix/1", At: epoch, CalledAt: epoch, Kind: flight.TimeFix, Note: "by gps"},
		flight.Alarm{Session: "s1", ID: "Teal/cell-low/1", Change: 1, Rocket: "Teal", Flight: 1, Kind: "cell-low", Priority: flight.Know,
			Active: true, RaisedAt: epoch.Add(2 * time.Second), ChangedAt: epoch.Add(2 * time.Second), Say: "cell low", Reason: "3.31 V, below 3.40 V"},
		flight.Alarm{Session: "s1", ID: "Teal/cell-low/1", Change: 2, Rocket: "Teal", Flight: 1, Kind: "cell-low", Priority: flight.Know,
			Acked: true, RaisedAt: epoch.Add(2 * time.Second), ChangedAt: epoch.Add(3 * time.Second), Say: "cell low", Reason: "3.45 V again"},
		flight.Alarm{Session: "s1", ID: "link/pad-radio/silent", Change: 1, Link: "pad-radio", Kind: "link-silent", Priority: flight.Act,
			Active: true, RaisedAt: epoch, ChangedAt: epoch, Say: "pad radio silent", Reason: "nothing for 5 s"},
	}
}

func TestRoundTrip(t *testing.T) {
	a := openNew(t)
	elevation := 212.0
	session := storage.Session{
		ID: "s1", Station: "north-field", Epoch: epoch, Started: epoch, Version: "0.1", Config: "[station]\nname = \"north-field\"\n",
		Site: flight.Site{ElevationM: &elevation}, Rockets: []flight.Rocket{{Name: "Teal", MassKg: 0.145}}, Links: []string{"pad-radio"},
	}
	if err := a.StartSession(t.Context(), session); err != nil {
		t.Fatal(err)
	}
	all := everything()
	// Written twice: the second time changes nothing.
	for range 2 {
		if err := a.Write(t.Context(), entries(t, all...)); err != nil {
			t.Fatal(err)
		}
	}
	var frames []ingest.Frame
	var samples []decode.Sample
	var rejects []decode.Rejected
	var events []flight.Event
	var alarms []flight.Alarm
	for _, v := range all {
		switch x := v.(type) {
		case ingest.Frame:
			frames = append(frames, x)
		case decode.Sample:
			samples = append(samples, x)
		case decode.Rejected:
			rejects = append(rejects, x)
		case flight.Event:
			events = append(events, x)
		case flight.Alarm:
			alarms = append(alarms, x)
		}
	}
	if diff := cmp.Diff(frames, readFrames(t, a, storage.Query{})); diff != "" {
		t.Errorf("frames (-want +got):\n%s", diff)
	}
	got := readSamples(t, a, storage.Query{Session: "s1"})
	want := []decode.Sample{samples[0], samples[2], samples[1]} // by rocket
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("samples (-want +got):\n%s", diff)
	}
	checkSaid(t, a, rejects, events, alarms)
	session.Rockets = append(session.Rockets, flight.Rocket{Name: "id-9"})
	session.Links = append(session.Links, "udp")
	sessions, err := a.Sessions(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]storage.Session{session}, sessions); diff != "" {
		t.Errorf("sessions (-want +got):\n%s", diff)
	}
	if n := readFrames(t, a, storage.Query{Rocket: "Teal"}); len(n) != 2 {
		t.Errorf("%d frames of Teal, want 2", len(n))
	}
	checkLast(t, a)
}

// checkSaid compares what was said of the frames and samples.
func checkSaid(t *testing.T, a *Archive, rejects []decode.Rejected, events []flight.Event, alarms []flight.Alarm) {
	t.Helper()
	gotRejects, err := a.Rejects(t.Context(), "s1")
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(rejects, gotRejects, cmpopts.IgnoreUnexported(decode.Reject{})); diff != "" {
		t.Errorf("rejects (-want +got):\n%s", diff)
	}
	gotEvents, err := a.Events(t.Context(), storage.Query{Session: "s1"})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(events, gotEvents); diff != "" {
		t.Errorf("events (-want +got):\n%s", diff)
	}
	gotAlarms, err := a.Alarms(t.Context(), storage.Query{})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(alarms, gotAlarms); diff != "" {
		t.Errorf("alarms (-want +got):\n%s", diff)
	}
}

// checkLast asks an archive with everything how far it has come.
func checkLast(t *testing.T, a *Archive) {
	t.Helper()
	passed, ok, err := a.LastPassed(t.Context(), "s1")
	if want := testFrame("pad-radio", 3).Passed; err != nil || !ok || passed != want {
		t.Errorf("LastPassed: %d %v %v, want %d", passed, ok, err, want)
	}
	sampled, err := a.LastSampled(t.Context(), "s1")
	if diff := cmp.Diff(map[string]uint64{"pad-radio": 3, "udp": 2}, sampled); err != nil || diff != "" {
		t.Errorf("LastSampled: %v (-want +got):\n%s", err, diff)
	}
}

func TestFramesInPassedOrder(t *testing.T) {
	a := openNew(t)
	// Three links in turn, some in the same moment: the order is that of the
	// stream.
	var want []ingest.Frame
	var in []any
	links := []string{"c", "a", "b"}
	count := map[string]uint64{}
	for i := range 3000 {
		link := links[(i*i+i/7)%3]
		count[link]++
		f := testFrame(link, count[link])
		f.Passed = int64(i/4) * 1000
		want = append(want, f)
		in = append(in, f)
	}
	if err := a.Write(t.Context(), entries(t, in...)); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, readFrames(t, a, storage.Query{})); diff != "" {
		t.Errorf("(-want +got):\n%.2000s", diff)
	}
	part := readFrames(t, a, storage.Query{Link: "a", FromPassed: 100_000, ToPassed: 200_001})
	for _, f := range part {
		if f.Link != "a" || f.Passed < 100_000 || f.Passed > 200_000 {
			t.Fatalf("filter let through %s %d passed %d", f.Link, f.N, f.Passed)
		}
	}
	if len(part) == 0 {
		t.Error("filter let nothing through")
	}
}

func TestShiftIsAppliedByReaders(t *testing.T) {
	a := openNew(t)
	if err := a.Write(t.Context(), entries(t, testFrame("l", 1), testSample("Teal", "l", 1), liftoff("Teal", 1, epoch))); err != nil {
		t.Fatal(err)
	}
	shift := 61*365*24*time.Hour + 1234*time.Nanosecond // a computer that began in 1970
	if err := a.SetShift(t.Context(), "s1", shift, "gps on pad-radio"); err != nil {
		t.Fatal(err)
	}
	s := readSamples(t, a, storage.Query{})[0]
	want := testSample("Teal", "l", 1)
	if !s.At.Equal(want.At.Add(shift)) || !s.Heard.Equal(want.Heard.Add(shift)) {
		t.Errorf("sample at %s heard %s, want both shifted by %s", s.At, s.Heard, shift)
	}
	ev, err := a.Events(t.Context(), storage.Query{From: epoch.Add(shift), To: epoch.Add(shift + 1)})
	if err != nil || len(ev) != 1 || !ev[0].At.Equal(epoch.Add(shift)) {
		t.Errorf("events in corrected time: %v %v", ev, err)
	}
	ev, err = a.Events(t.Context(), storage.Query{From: epoch, To: epoch.Add(1), Recorded: true})
	if err != nil || len(ev) != 1 || !ev[0].At.Equal(epoch) {
		t.Errorf("events in recorded time: %v %v", ev, err)
	}
	if f := readFrames(t, a, storage.Query{})[0]; !f.Heard.Equal(testFrame("l", 1).Heard) {
		t.Errorf("frame heard %s: a replay must see the recorded time", f.Heard)
	}
	sess, err := a.Session(t.Context(), "s1")
	if err != nil || sess.Shift != shift || sess.ShiftSource != "gps on pad-radio" {
		t.Errorf("session: %+v %v", sess, err)
	}
	if got := shell(t, a.Path(), `SELECT at FROM event_list`); got != epoch.Add(shift).Format("2006-01-02T15:04:05.000000Z") {
		t.Errorf("view says %s", got)
	}
}

func TestSessionErrors(t *testing.T) {
	a := openNew(t)
	if err := a.StartSession(t.Context(), storage.Session{ID: "s1", Station: "north-field", Epoch: epoch}); err != nil {
		t.Fatal(err)
	}
	if err := a.StartSession(t.Context(), storage.Session{ID: "s1", Epoch: epoch.Add(1)}); err == nil || !strings.Contains(err.Error(), "epoch") {
		t.Errorf("another epoch: %v", err)
	}
	if err := a.EndSession(t.Context(), "none", epoch); !errors.Is(err, storage.ErrNoSession) {
		t.Errorf("end of unknown session: %v", err)
	}
	if err := a.EndSession(t.Context(), "s1", epoch.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if s, err := a.Session(t.Context(), "s1"); err != nil || !s.Ended.Equal(epoch.Add(time.Hour)) {
		t.Errorf("ended %s, %v", s.Ended, err)
	}
	if err := a.Frames(t.Context(), storage.Query{Session: "none", Recorded: true}, nil); !errors.Is(err, storage.ErrNoSession) {
		t.Errorf("frames of unknown session: %v", err)
	}
	if err := a.SetShift(t.Context(), "s1", time.Hour, "gps"); err != nil {
		t.Fatal(err)
	}
	note := storage.Note{Session: "s1", Rocket: "Teal", Flight: 1, At: epoch.Add(61 * time.Minute), Text: "wind from the west"}
	want, err := a.AddNote(t.Context(), note)
	if note.ID = 1; err != nil || want != note {
		t.Errorf("note %+v, %v", want, err)
	}
	if got, err := a.Notes(t.Context(), "s1"); err != nil || !cmp.Equal([]storage.Note{note}, got) {
		t.Errorf("notes: %v %v", got, err)
	}
	if kept, err := a.KeptNotes(t.Context(), "s1"); err != nil || len(kept) != 1 || !kept[0].At.Equal(epoch.Add(time.Minute)) {
		t.Errorf("notes as recorded: %v %v", kept, err)
	}
	if _, err := a.AddNote(t.Context(), storage.Note{Session: "none"}); !errors.Is(err, storage.ErrNoSession) {
		t.Errorf("note on an unknown session: %v", err)
	}
}

func TestLockedByAnother(t *testing.T) {
	a := openNew(t)
	_, err := Open(t.Context(), a.Path(), Options{})
	if !errors.Is(err, storage.ErrLocked) {
		t.Fatalf("second open: %v", err)
	}
	if strings.Contains(err.Error(), "\n") {
		t.Errorf("not one line: %q", err)
	}
	// Reading alone is allowed.
	r, err := OpenReadOnly(a.Path())
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if err := r.Write(t.Context(), entries(t, testFrame("l", 1))); !errors.Is(err, errReadOnly) {
		t.Errorf("write: %v", err)
	}
}

func TestOtherFiles(t *testing.T) {
	dir := t.TempDir()
	text := filepath.Join(dir, "text.db")
	if err := os.WriteFile(text, []byte(strings.Repeat("not a database ", 300)), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, open := range []func() (*Archive, error){
		func() (*Archive, error) { return Open(t.Context(), text, Options{}) },
		func() (*Archive, error) { return OpenReadOnly(text) },
	} {
		if a, err := open(); !errors.Is(err, ErrNotArchive) {
			t.Errorf("text file: %v %v", a, err)
		}
	}
	if _, err := OpenReadOnly(filepath.Join(dir, "absent.db")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("absent file: %v", err)
	}
	odd := filepath.Join(dir, "a b?c#d%20e", FileName)
	a := openAt(t, odd)
	if err := a.Write(t.Context(), entries(t, testFrame("l", 1))); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(odd); err != nil {
		t.Errorf("the file is not where it should be: %v", err)
	}
}
