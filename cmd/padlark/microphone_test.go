package main

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"padlark/decode/beeps"
	"padlark/flight"
	hear "padlark/ingest/beeps"
	"padlark/web/browsertest"
)

// A sounder beeps into the microphone of a real browser, with as much hiss in all as
// tone: a person records two repeats on the station's page, reads the height there,
// keeps it, and it is a flight in the archive.
func TestMicrophone(t *testing.T) {
	if os.Getenv("PADLARK_CI") != "1" && os.Getenv("PADLARK_BROWSER") != "1" {
		t.Skip("records for seconds of real time: set PADLARK_BROWSER=1")
	}
	t.Parallel() // it waits for most of its time
	const number = 314
	const code = `
beep_ms = 80.0
pause_ms = 80.0
digit_pause_ms = 320.0
number_pause_ms = 900.0`
	sound, err := beeps.Sound(beeps.Code{BeepMs: 80, PauseMs: 80, DigitPauseMs: 320, NumberPauseMs: 900}, number, 2300, 16000)
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(16, 0))
	for i := range sound { // powers of 0.031 while it beeps, and of 0.04 spread over 8 kHz
		sound[i] = 0.5*sound[i] + 0.2*r.NormFloat64()
	}
	wav := filepath.Join(t.TempDir(), "field.wav")
	if err := os.WriteFile(wav, hear.WriteWAV(sound, 16000), 0o600); err != nil {
		t.Fatal(err)
	}
	browser := browsertest.StartWithMicrophone(t, wav)
	data, listen := t.TempDir(), freeTCPPort(t)
	d := startRun(t, "pages at http://", writeConfig(t, fmt.Sprintf(`
[station]
name = "field"
data = %q
[web]
listen = %q
[[layout]]
name = "my-sounder"
framing = "beeps"
form = "beeps"
[layout.beeps]%s
[[rocket]]
name = "Teal"
[site]
temperature_c = 25.0
[[link]]
name = "net"
udp = "127.0.0.1:0"
layout = "lark-text"
`, data, listen, code)))
	base := "http://" + listen
	b := browser.Tab(t, base)
	b.Size(390, 844, 2, true)
	b.Open("/sounder")
	want := fmt.Sprintf("%d m", number)
	// Where the machine is so busy that the browser drops sound, one records again.
	for again, read := 0, ""; read != want; again++ {
		if again == 3 {
			t.Fatalf("read %q three times, want %q: %s", read, want, b.Text("#tones"))
		}
		b.Click("#record")
		b.Until("two repeats", `/Recording: ([7-9]|[1-9][0-9]) s/.test(document.getElementById('state').textContent)`, 40*time.Second)
		b.Shot("microphone-recording")
		b.Click("#record")
		b.Until("what was heard", `/ s heard/.test(document.getElementById('state').textContent)`, 30*time.Second)
		read = b.Text(".tone h2")
	}
	b.Shot("microphone-read")
	b.Click("#teach button") // the other way round, to learn the code
	b.Until("the height beeped", `/[0-9]+ s of sound/.test(document.getElementById('teach-state').textContent)`, 20*time.Second)
	b.Click(".tone .keep button")
	b.Until("the way to the flight", `document.querySelector('.tone .keep a')`, 20*time.Second)
	b.Click(".tone .keep a")
	// 314 m of the standard air are more in one that is 10 K warmer (hypsometric equation).
	b.Until("the flight's page", `document.querySelector('main').innerText.includes('324.9')`, 20*time.Second)
	// What was heard stands there again, and in the place of empty plots why there are none.
	b.Until("the strip with its groups", `[...document.querySelectorAll('#tones .strip text')].slice(0, 3).map((e) => e.textContent).join(' ') === '3 1 4'`, 20*time.Second)
	b.Until("words for the plots", `document.getElementById('plots').offsetHeight === 0 && document.querySelector('main').innerText.includes('there are no samples')`, 10*time.Second)
	if text := b.Text("main"); strings.Contains(text, "NaN") {
		t.Errorf("the page says %q", text)
	}
	b.Shot("microphone-flight")
	b.Size(1366, 768, 1, false)
	b.Shot("microphone-flight-desktop")
	b.Quiet()
	var got []flight.Result
	if err := json.Unmarshal(get(t, base+"/api/v1/flights"), &got); err != nil || len(got) != 1 {
		t.Fatalf("%d flights, %v", len(got), err)
	}
	if h := got[0].ApogeeM; h == nil || math.Abs(*h-number*298.15/288.15) > 0.01 || got[0].Rocket != "Teal" {
		t.Errorf("%+v, want %d m of the standard air, at 25 °C", got[0], number)
	}
	d.stop(t)
}
