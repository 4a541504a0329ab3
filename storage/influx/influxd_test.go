package influx

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/ingest"
	"padlark/storage/influx/influxtest"
)

// The server in these tests is InfluxDB 1.8.10, built from its own source. Its
// v2 write address is the one that InfluxDB 2 has; PADLARK_INFLUXD2=PATH runs
// them against a server of that version as well.

// TestInfluxDB runs the writer against one server; each part has its own
// database on it.
func TestInfluxDB(t *testing.T) { eachPart(t, influxtest.Influx(t, true)) }

// TestInfluxDB2 does the same with the next version, which has organisations,
// buckets and tokens.
func TestInfluxDB2(t *testing.T) { eachPart(t, influxtest.Influx2(t)) }

func eachPart(t *testing.T, s *influxtest.Server) {
	for name, part := range map[string]func(*testing.T, *influxtest.Server){
		"kill, restart and cut": killRestartCut, "wrong settings": wrongSettings, "conflict": conflict,
		"time fixed": timeFixed, "twins and odd names": oddNames,
	} {
		t.Run(name, func(t *testing.T) { part(t, s.NewDatabase(t)) })
	}
}

// killRestartCut: a session goes on while the server is killed, started
// again, and while the network is cut in the middle of a request. In the end
// the server has exactly what the archive has.
func killRestartCut(t *testing.T, s *influxtest.Server) {
	path := influxtest.NewPath(t, s.URL)
	r := newRig(t, "s1")
	w, stop := r.start(viaPath(r.options(s), path))

	r.publish(1, 500)
	until(t, "the first write", func() bool { return w.State().Lines > 0 })

	s.Kill()
	r.publish(500, 1000)
	until(t, "trouble", func() bool { return w.State().Trouble != "" })
	until(t, "the alarm", func() bool { return len(r.published(alarm.ServerAway)) == 1 })
	s.Start()
	r.settled(w, 30*time.Second)

	path.CutAfter(30_000)
	r.publish(1000, 2500)
	until(t, "the cut", path.IsCut)
	until(t, "trouble", func() bool { return w.State().Trouble != "" })
	path.Mend()
	r.publish(2500, 3000)
	r.settled(w, 30*time.Second)

	if err := r.archive.EndSession(t.Context(), "s1", epoch.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	stop()
	r.compare(s, "s1")
	if _, err := os.Stat(w.sender.rejected.path()); err == nil {
		t.Error("something was set aside")
	}
	checkAlarms(t, r.published(alarm.ServerAway))
	rows := s.InfluxQL(s.Database, `SELECT * FROM link WHERE session = 's1'`)
	if len(rows) != 2 {
		t.Errorf("%d points about links, want 2", len(rows))
	}
	for _, row := range rows {
		if f, n := number(t, row["frames"]), number(t, row["reject_checksum"]); f != 2999 || n != 299 {
			t.Errorf("link %v: %v frames, %v rejects", row["link"], f, n)
		}
	}
}

// checkAlarms: raised and cleared in turn, each with the next change.
func checkAlarms(t *testing.T, all []flight.Alarm) {
	t.Helper()
	if len(all) == 0 {
		t.Error("no alarm was raised")
	}
	for i, a := range all {
		if want := i%2 == 0; a.Active != want || a.Change != i%2+1 || a.Session != "s1" || a.Priority != flight.Know {
			t.Errorf("alarm change %d: %+v", i, a)
		}
		if i%2 == 1 && a.ID != all[i-1].ID {
			t.Errorf("alarm %s was cleared by %s", all[i-1].ID, a.ID)
		}
	}
	if len(all)%2 == 1 {
		t.Error("the alarm is still active")
	}
}

// wrongSettings: with a wrong token or bucket nothing is lost and nothing set
// aside; the alarm says what to mend, once, and never the token.
func wrongSettings(t *testing.T, s *influxtest.Server) {
	for name, c := range map[string]struct {
		change func(*Options)
		mend   string
	}{
		"token":  {func(o *Options) { o.Token = influxtest.User + ":not-the-password" }, "token_file"},
		"bucket": {func(o *Options) { o.Bucket = "nowhere" }, "bucket"},
		"org":    {func(o *Options) { o.Org = "another club" }, "org"},
	} {
		if name == "org" && s.Org() == "" {
			continue // it knows none
		}
		t.Run(name, func(t *testing.T) {
			session := "wrong-" + name
			r := newRig(t, session)
			o := r.options(s)
			o.AlarmAfter = time.Hour // a person must act, so it does not wait
			c.change(&o)
			w, stop := r.start(o)
			r.publish(1, 200)
			until(t, "the alarm", func() bool { return len(r.published(alarm.ServerAway)) > 0 })
			until(t, "a second try", func() bool { return w.State().Failures > 2 })
			all := r.published(alarm.ServerAway)
			if len(all) != 1 || !strings.Contains(all[0].Reason, c.mend) {
				t.Errorf("alarms: %+v", all)
			}
			if strings.Contains(all[0].Reason+w.State().Trouble, "not-the-password") {
				t.Errorf("the token is told: %s", all[0].Reason)
			}
			stop()
			if w.State().Rejected != 0 {
				t.Errorf("%d lines set aside", w.State().Rejected)
			}
			// The station starts again with the right settings.
			w, stop = r.start(r.options(s))
			r.settled(w, 30*time.Second)
			stop()
			if all := r.published(alarm.ServerAway); all[len(all)-1].Active {
				t.Errorf("the alarm of the run before has not cleared: %+v", all)
			}
			r.compare(s, session)
		})
	}
}

// conflict: a field that the server holds with another type. Those points
// are set aside with the server's reason, the others arrive.
func conflict(t *testing.T, s *influxtest.Server) {
	r := newRig(t, "s1")
	o := r.options(s)
	// Somebody wrote text into a field of ours.
	srv := newServer(o)
	defer srv.close()
	if f := srv.lines(t.Context(), fmt.Sprintf("sample,rocket=x temperature_c=\"warm\" %d\n", epoch.UnixNano())); f != nil {
		t.Fatal(f)
	}
	w, stop := r.start(o)
	r.publish(1, 300)
	r.settled(w, 30*time.Second)
	stop()
	// Every sample has a temperature: none can be taken; all else is there.
	const samples = 2 * (299 - 29)
	if got := w.State().Rejected; got != samples {
		t.Errorf("%d set aside, want %d", got, samples)
	}
	text, err := os.ReadFile(w.sender.rejected.path())
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(string(text), "field type conflict"); n != samples {
		t.Errorf("%d reasons, want %d:\n%.500s", n, samples, text)
	}
	if n := s.Count("event", "flight"); n != 12 {
		t.Errorf("%d events on the server, want 12", n)
	}
	if all := r.published(alarm.ServerAside); len(all) != 2 || !all[0].Active || all[1].Active {
		t.Errorf("alarm about lines set aside: %+v", all)
	}
	if all := r.published(alarm.ServerAway); len(all) != 0 {
		t.Errorf("alarm about the server: %+v", all)
	}
}

// timeFixed: the session's time is fixed while it runs and once more after
// its end. No point is left at the wrong time.
func timeFixed(t *testing.T, s *influxtest.Server) {
	r := newRig(t, "s1")
	w, stop := r.start(r.options(s))
	r.publish(1, 300)
	r.settled(w, 30*time.Second)
	if err := r.archive.SetShift(t.Context(), "s1", -7*time.Hour-3*time.Nanosecond, "gps on pad-radio"); err != nil {
		t.Fatal(err)
	}
	r.publish(300, 400)
	r.settled(w, 30*time.Second)
	if err := r.archive.EndSession(t.Context(), "s1", epoch.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	stop()
	r.compare(s, "s1")

	if err := r.archive.SetShift(t.Context(), "s1", time.Minute, "by hand"); err != nil {
		t.Fatal(err)
	}
	b, err := NewBackfill(w.opt, r.archive, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	for i, replaced := range []bool{true, false} {
		got, err := b.Session(t.Context(), "s1", false, nil)
		if err != nil || got.Replaced != replaced || got.Samples != 720 {
			t.Errorf("run %d: %+v %v", i+1, got, err)
		}
		r.compare(s, "s1")
	}
}

// viaPath sends by a path that can be cut.
func viaPath(o Options, p *influxtest.Path) Options {
	o.URL = p.URL
	return o
}

// oddDecoder gives each frame another rocket with an odd name, two of them with
// the same time.
type oddDecoder []string

func (o oddDecoder) Decode(f ingest.Frame) (decode.Sample, error) {
	s := testSample(f)
	s.Rocket, s.At = o[(f.N-1)/2], epoch
	s.Values.Names = []string{"odd name, = " + s.Rocket}
	s.Values.Values = []float64{-1.5e-300}
	return s, nil
}

// oddNames: names with everything that the protocol has to escape, and two
// frames of one rocket with the same nanosecond, come back as they were.
func oddNames(t *testing.T, s *influxtest.Server) {
	names := oddDecoder{"Teal, the 2nd = best", `quo"te`, "Pflaume ü 🚀", "back\\slash\\", "line\nbreak"}
	r := newRig(t, "s1")
	r.decoder = names
	w, stop := r.start(r.options(s))
	for n := range uint64(2 * len(names)) {
		r.journal.Frames([]ingest.Frame{testFrame("s1", "pad-radio", n+1)})
	}
	r.settled(w, 30*time.Second)
	stop()
	got := map[string]int{}
	for _, row := range s.InfluxQL(s.Database, "SELECT * FROM sample") {
		name := row["rocket"].(string)
		if v := row["odd name, = "+name]; v != nil && number(t, v) == -1.5e-300 {
			got[name]++
		}
	}
	want := map[string]int{}
	for _, n := range names {
		want[strings.NewReplacer("\\", "_", "\n", "_").Replace(n)] = 2
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("points by rocket (-want +got):\n%s", diff)
	}
}
