package report

import (
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"padlark/flight"
	"padlark/flight/bench"
	"padlark/flight/phrase"
)

// sheets prints a page as a browser does and counts the sheets of paper.
func sheets(t *testing.T, name string, html []byte) int {
	t.Helper()
	if _, err := exec.LookPath("chromium"); err != nil {
		if os.Getenv("PADLARK_CI") != "" {
			t.Fatal("chromium is missing")
		}
		t.Skip("chromium is not installed")
	}
	dir := t.TempDir()
	if keep := os.Getenv("PADLARK_PAGES"); keep != "" { // to look at
		dir = keep
	}
	page, sheet := filepath.Join(dir, name+".html"), filepath.Join(dir, name+".pdf")
	if err := os.WriteFile(page, html, 0o644); err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), "chromium", "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking",
		"--disable-component-update", "--disable-sync", "--no-first-run", "--user-data-dir="+filepath.Join(t.TempDir(), "profile"),
		"--no-pdf-header-footer", "--print-to-pdf="+sheet, "file://"+page)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("print: %v\n%s", err, out)
	}
	pdf, err := os.ReadFile(sheet)
	if err != nil {
		t.Fatal(err)
	}
	return len(regexp.MustCompile(`/Type\s*/Page\b`).FindAll(pdf, -1))
}

// crowded is a page with more of everything than one sheet holds.
func crowded() *Page {
	v, sd := 112.93, 0.65
	at := time.Date(2031, 5, 16, 10, 0, 38, 0, time.UTC)
	p := &Page{
		Flight: "20310516-095000-rec~Rust~1", Title: "Flight 1 of Rust",
		Predicted: "By the flight model, from what was noted of this launch (650 mL at 7.00 bar, 231 g) and the rocket as configured by now; ± is the spread of 200 flights with inputs drawn around these.",
		Rocket:    flight.Rocket{Name: "Rust", MassKg: 0.231, ParachuteM: 0.49, DiameterM: 0.07, RateHz: 20, Cell: "liion-1s", Release: "servo"},
		Session:   Session{ID: "20310516-095000-rec", Station: "north-field", Version: "0.1", TimeFixedBy: "satellites"},
		Checkup:   &LastCheckup{at.AddDate(0, 0, -3), "look: 2 of 24 checks ask for a second look: Noise; Cell under load"},
	}
	p.Result = flight.Result{Verdict: "bad: released 2.4 s after apogee, at about 22 m/s downward", LaunchedAt: &at, ApogeeM: &v, ApogeeSD: &sd}
	for i := range 9 {
		p.Rows = append(p.Rows, Row{Name: "Greatest speed, upward", Value: &v, SD: &sd, Unit: "m/s", Text: plusMinus(phrase.Reader{}, v, &sd, "m/s"),
			How: strings.Repeat("End of the thrust phase fitted as an even push, joined to the coast. ", max(1, 4-3*i))})
	}
	for range 4 {
		e := Expected{Name: "Time to apogee", Unit: "m/s", Expected: 110, ExpectedSD: &sd, Measured: &v, SD: &sd}
		e.Words = difference(e, modelPart)
		p.Expected = append(p.Expected, e)
	}
	for i := range 30 {
		end := float64(i) + 2.5
		p.Alarms = append(p.Alarms, Alarm{T: float64(i), EndT: &end, Kind: "ballistic", Acked: true,
			Reason: "Rust comes down at 9 m/s from 108 m, 1.0 s after its apogee; free fall would be 10 m/s, and no release was seen. Impact in about 4.3 s. Look up, point at it, move away from under it, and keep people behind cover until it is down."})
		p.Notes = append(p.Notes, fmt.Sprintf("Remark %d: %s", i, strings.Repeat("one fin was glued again and the nose is heavier than on the last outing, ", 20)))
		p.Links = append(p.Links, Link{Name: fmt.Sprintf("text-radio-%d", i), Frames: 828, Lost: 319, Bad: 20, RateHz: 19.6, PauseS: 1.25})
		p.Caveats = append(p.Caveats, "± is one standard deviation. Heights are above the pad as the barometer saw them, not surveyed.")
	}
	for i := range 600 {
		x := float64(i)/20 - 2
		h := math.Max(0, 112-(x-4.5)*(x-4.5)*5)
		p.Series.T, p.Series.Raw, p.Series.Height = append(p.Series.T, x), append(p.Series.Raw, h), append(p.Series.Height, h)
		p.Series.HeightSD, p.Series.Speed, p.Series.SpeedSD = append(p.Series.HeightSD, 0.3), append(p.Series.Speed, 9-x), append(p.Series.SpeedSD, 0.5)
	}
	for i, kind := range []flight.Kind{flight.Liftoff, flight.Burnout, flight.Apogee, flight.Release, flight.Touchdown} {
		p.Events = append(p.Events, Moment{string(kind), float64(i) * 4, at})
	}
	return p
}

// However much there is to say of a flight, its page is one sheet, says how
// much is left out, and leaves nothing out of the JSON form.
func TestCrowdedPageIsOneSheet(t *testing.T) {
	p := crowded()
	html, err := p.HTML()
	if err != nil {
		t.Fatal(err)
	}
	for what, want := range map[string]string{
		"alarms": fmt.Sprintf("and %d more, in the JSON", 30-alarmsShown), "notes": fmt.Sprintf("and %d more, in the JSON", 30-notesShown),
		"links": fmt.Sprintf("And %d more links", 30-linksShown), "caveats": fmt.Sprintf("and %d more, in the JSON", 30-caveatsShown),
	} {
		if !strings.Contains(string(html), want) {
			t.Errorf("%s: no %q on the page", what, want)
		}
	}
	text, err := p.Write(".json")
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(string(text), "Remark "); n != 30 {
		t.Errorf("%d notes in the JSON form, want 30", n)
	}
	if n := sheets(t, "crowded", html); n != 1 {
		t.Errorf("%d sheets, want 1", n)
	}
}

// The page of a checkup is one sheet, whatever is wrong with the board, and
// also if everything is.
func TestCheckupIsOneSheet(t *testing.T) {
	worst := checkupOf(t, "weak-cell")
	for i := range worst.Findings {
		f := &worst.Findings[i]
		f.Level = bench.Bad
		f.Words = "the cell falls by 1.4 V while the servo moves and takes 2.3 s to come back, so that the board may start again in flight"
		f.Mend = "Charge the cell, take one of lower resistance, or give the servo a supply of its own; then run the checkup again"
	}
	for name, r := range map[string]*bench.Report{"checkup-good": checkupOf(t, ""), "checkup-worst": worst} {
		html, err := CheckupPage(r, ".html")
		if err != nil {
			t.Fatal(err)
		}
		if n := sheets(t, name, html); n != 1 {
			t.Errorf("%s: %d sheets, want 1", name, n)
		}
	}
}

func TestShort(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"ten letters", "ten letters"}, {"one two three four", "one two …"}, {"onewordthatislong", "onewordthat …"},
	} {
		if got := short(c.in, 11); got != c.want {
			t.Errorf("%q gives %q, want %q", c.in, got, c.want)
		}
	}
}
