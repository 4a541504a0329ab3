package sqlite

import (
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/storage"
)

// flown stores one flight of Teal: 20 s at the pad, then given pressures.
func flown(t *testing.T, a *Archive, site flight.Site) {
	t.Helper()
	if err := a.StartSession(t.Context(), storage.Session{ID: "s1", Station: "north-field", Epoch: epoch, Site: site}); err != nil {
		t.Fatal(err)
	}
	var in []any
	add := func(n uint64, p float64, own *float64) {
		s := testSample("Teal", "pad-radio", n)
		s.At = s.Heard
		s.Values = decode.Channels{Names: []string{"pressure_pa"}, Values: []float64{p}}
		if own != nil {
			s.Values = decode.Channels{Names: []string{"altitude_m", "pressure_pa"}, Values: []float64{*own, p}}
		}
		in = append(in, testFrame("pad-radio", n), s)
	}
	for n := uint64(1); n <= 400; n++ {
		add(n, 101325+float64(n%2)*2-1, nil) // one pascal of noise about the mean
	}
	add(401, 101325, nil)
	add(402, 100129.439, nil)
	add(403, 97772.577, nil)
	add(404, 97772.577, ptr(299.0))
	add(405, 101325, nil)
	up := liftoff("Teal", 1, epoch.Add(20*time.Second))
	down := flight.Event{Session: "s1", ID: "Teal/1/touchdown", At: epoch.Add(20300 * time.Millisecond), CalledAt: epoch.Add(21 * time.Second), Rocket: "Teal", Kind: flight.Touchdown, Flight: 1}
	if err := a.Write(t.Context(), entries(t, append(in, up, down)...)); err != nil {
		t.Fatal(err)
	}
}

func TestFlightSamplesView(t *testing.T) {
	a := openNew(t)
	flown(t, a, flight.Site{})
	const query = `SELECT at, altitude_m FROM flight_samples WHERE rocket = 'Teal' AND flight = 1 AND t_s > 0 ORDER BY at`
	// Heights of the standard atmosphere of ISO 2533 at 15 degC and 101325 Pa:
	// 100 m is 100129.439 Pa, 300 m is 97772.577 Pa (computed from the published
	// equations). The board's own height goes first where it sends one.
	want := []float64{0, 100, 300, 299, 0}
	rows := strings.Split(shell(t, a.Path(), query), "\n")
	if len(rows) != len(want) {
		t.Fatalf("%d rows: %v", len(rows), rows)
	}
	for i, r := range rows {
		at, height, _ := strings.Cut(r, "|")
		if _, err := time.Parse(time.RFC3339Nano, at); err != nil {
			t.Errorf("row %d: time %q: %v", i, at, err)
		}
		h, err := strconv.ParseFloat(height, 64)
		if err != nil || math.Abs(h-want[i]) > 0.01 {
			t.Errorf("row %d: %s m, want %g m", i, height, want[i])
		}
	}
	if got, want := strings.SplitN(rows[0], "|", 2)[0], epoch.Add(20050*time.Millisecond).Format("2006-01-02T15:04:05.000000Z"); got != want {
		t.Errorf("first row at %s, want %s", got, want)
	}
}

func TestFlightSamplesViewInTheHeat(t *testing.T) {
	a := openNew(t)
	flown(t, a, flight.Site{TemperatureC: ptr(35.0)})
	got := shell(t, a.Path(), `SELECT printf('%.2f', altitude_m) FROM flight_samples WHERE n = 402`)
	// The height scales with the absolute temperature at the pad:
	// 100 m x 308.15 K / 288.15 K (computed from the published equations).
	if want := "106.94"; got != want {
		t.Errorf("%s m, want %s m", got, want)
	}
}

func TestViewsAnswer(t *testing.T) {
	a := openNew(t)
	flown(t, a, flight.Site{})
	if err := a.Write(t.Context(), entries(t, everything()...)); err != nil {
		t.Fatal(err)
	}
	for query, want := range map[string]string{
		`SELECT session, station, started FROM session_list`:                                   "s1|north-field|2031-05-17T09:00:00Z",
		`SELECT frames, bytes, n_first, n_last FROM frame_list WHERE link = 'pad-radio'`:       "405|2430|1|405",
		`SELECT reason, offset FROM reject_list WHERE link = 'pad-radio' AND n = 2`:            "checksum|22",
		`SELECT samples, first_at, last_at FROM sample_list WHERE rocket = 'Teal'`:             "405|2031-05-17T09:00:00Z|2031-05-17T09:00:20Z",
		`SELECT rocket, kind, altitude_m FROM event_list WHERE kind = 'liftoff'`:               "Teal|liftoff|0.0",
		`SELECT say, state, acknowledged FROM alarm_list WHERE rocket = 'Teal'`:                "cell low|active|not acknowledged\ncell low|cleared|acknowledged",
		`SELECT rocket, flight, launched, duration_s, round(pad_pressure_pa) FROM flight_list`: "Teal|1|2031-05-17T09:00:20Z|0.3|101325.0",
	} {
		if got := shell(t, a.Path(), query); got != want {
			t.Errorf("%s\n got  %s\n want %s", query, got, want)
		}
	}
}

func TestSamplesOfAFlight(t *testing.T) {
	a := openNew(t)
	flown(t, a, flight.Site{})
	got := readSamples(t, a, storage.Query{Session: "s1", Rocket: "Teal", Flight: 1, Margin: time.Second})
	if len(got) == 0 || got[0].N != 380 || got[len(got)-1].N != 405 {
		t.Errorf("%d samples, from %d to %d; want 380 to 405", len(got), got[0].N, got[len(got)-1].N)
	}
	if got := readSamples(t, a, storage.Query{Session: "s1", Rocket: "Teal", Flight: 2}); len(got) != 0 {
		t.Errorf("%d samples of a flight that was not", len(got))
	}
}

func TestSizes(t *testing.T) {
	a := openNew(t)
	flown(t, a, flight.Site{})
	sizes, err := a.Sizes(t.Context())
	if err != nil || len(sizes) != 1 {
		t.Fatalf("%v %v", sizes, err)
	}
	s := sizes[0]
	if s.Frames != 405 || s.FrameBytes != 405*6 || s.Samples != 405 || s.Events != 2 {
		t.Errorf("counts: %+v", s)
	}
	if s.BytesPerFrame < 10 || s.BytesPerFrame > 100 {
		t.Errorf("%.1f bytes per frame and its sample", s.BytesPerFrame)
	}
	t.Logf("%.1f bytes on disk per frame of 6 bytes and its sample", s.BytesPerFrame)
}
