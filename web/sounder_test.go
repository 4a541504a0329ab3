package web

import (
	"context"
	"errors"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"padlark/decode/beeps"
	hear "padlark/ingest/beeps"
	"padlark/web/browsertest"
)

// ear hears with the real packages and remembers what was to be kept.
type ear struct {
	kept func(rocket string, number int)
}

func (ear) Layouts() []SounderLayout {
	return []SounderLayout{{Name: "my-sounder", Unit: "m", Step: 1}}
}

func (e ear) Hear(_ context.Context, _ string, sound io.Reader) ([]Tone, error) {
	b, err := io.ReadAll(sound)
	if err != nil {
		return nil, err
	}
	pcm, err := hear.NewPCM(hear.Format{Rate: 16000, Channels: 1, Bits: 16})
	if err != nil {
		return nil, err
	}
	samples, err := pcm.Push(b)
	if err != nil {
		return nil, err
	}
	l, err := hear.NewListener(pcm.Format().Rate)
	if err != nil {
		return nil, err
	}
	out := []Tone{}
	for _, s := range append(l.Push(samples), l.End()...) {
		out = append(out, toneOf(s))
	}
	return out, nil
}

func toneOf(s hear.Strip) Tone {
	r := beeps.Read(s, beeps.Code{})
	t := Tone{PitchHz: r.PitchHz, Number: &r.Number, Unit: "m", Sure: r.Sure, Words: "heard 3 times", Strip: s.AppendBinary(nil), StepMs: hear.StepMs}
	for _, db := range s.DB {
		t.DB = append(t.DB, int(db))
	}
	for _, b := range r.Beeps {
		t.Beeps = append(t.Beeps, Beeps{b.From, b.To, b.Kind, b.Group, b.Repeat})
	}
	return t
}

func (ear) Again(_ context.Context, _, _ string, strip []byte) (Tone, error) {
	s, err := hear.ParseStrip(strip)
	return toneOf(s), err
}

func (e ear) Keep(_ context.Context, _, rocket string, strip []byte, _ time.Time) (FlightID, error) {
	s, err := hear.ParseStrip(strip)
	if err != nil {
		return FlightID{}, err
	}
	r := beeps.Read(s, beeps.Code{})
	if !r.Sure {
		return FlightID{}, errors.New(r.Why)
	}
	if e.kept != nil {
		e.kept(rocket, r.Number)
	}
	return FlightID{"20250614-093000-efgh", rocket, 1}, nil
}

func (ear) Beep(_ string, number int) ([]byte, error) {
	s, err := beeps.Sound(beeps.Code{}, number, 2700, 16000)
	return hear.WriteWAV(s, 16000), err
}

// TestSounderAPI: a recording is read, and what is too large, no sound or no strip is
// refused in words.
func TestSounderAPI(t *testing.T) {
	s, base := serve(t, recorded().options())
	token := []string{tokenHeader, s.gate.openToken, "Content-Type", "application/json"}
	code, _, sound := ask(t, "GET", base+"/api/v1/sounder/beep?number=42", "")
	wav := string(sound)
	if code != http.StatusOK || !strings.HasPrefix(wav, "RIFF") {
		t.Fatalf("beep: %d, %d bytes", code, len(wav))
	}
	for _, c := range []struct {
		path, body string
		code       int
		want       string
	}{
		{"/api/v1/sounder", wav, 200, `"number":42`},
		{"/api/v1/sounder", wav + strings.Repeat("x", soundMost), 413, "too"},
		{"/api/v1/sounder", "RIFF....AVI ", 400, "not WAVE"},
		{"/api/v1/sounder/keep", `{"rocket":"Teal","layout":"my-sounder","strip":"eHg="}`, 400, "no strip of beeps"},
	} {
		if code, _, got := ask(t, "POST", base+c.path, c.body, token...); code != c.code || !strings.Contains(string(got), c.want) {
			t.Errorf("%s with %d bytes: %d %.200s, want %d and %q", c.path, len(c.body), code, got, c.code, c.want)
		}
	}
	if code, _, got := ask(t, "GET", base+"/api/v1/sounder/beep?number=1e9", ""); code != 400 {
		t.Errorf("beep of no number: %d %s", code, got)
	}
}

// browserSounder gives the page a recording, as a phone's own recorder would: the
// number stands there, with the strip and its groups, and is kept for a rocket.
func browserSounder(t *testing.T, browser *browsertest.Browser) {
	v := recorded()
	kept := make(chan int, 1)
	v.ear.kept = func(_ string, n int) { kept <- n }
	_, base := serve(t, v.options())
	b := browser.Tab(t, base)
	b.Size(390, 844, 2, true)
	b.Open("/sounder")
	b.Eval(`(async () => {
		const wav = await (await fetch('/api/v1/sounder/beep?number=203')).arrayBuffer();
		const files = new DataTransfer();
		files.items.add(new File([wav], 'beeps.wav'));
		document.getElementById('file').files = files.files;
		document.getElementById('file').dispatchEvent(new Event('change'));
	})()`, nil)
	b.Until("the reading", `document.querySelector('.tone h2')?.textContent === '203 m'`, 20*time.Second)
	var groups string
	b.Eval(`[...document.querySelectorAll('.tone .strip text')].slice(0, 3).map((e) => e.textContent).join(' ')`, &groups)
	if groups != "2 10 3" {
		t.Errorf("the first groups read %q, want 2 10 3", groups)
	}
	var wide int
	if b.Eval(`document.documentElement.scrollWidth`, &wide); wide > 390 {
		t.Errorf("the page is %d px wide", wide)
	}
	b.Shot("sounder-phone")
	b.Size(1366, 768, 1, false)
	b.Shot("sounder-desktop")
	b.Click(".tone .keep button")
	select {
	case n := <-kept:
		if n != 203 {
			t.Errorf("kept %d, want 203", n)
		}
	case <-time.After(20 * time.Second):
		t.Fatal("nothing was kept")
	}
	b.Until("the way to the flight", `document.querySelector('.tone .keep a')`, 10*time.Second)
	b.Quiet()
}
