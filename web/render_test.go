package web

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"runtime"
	"slices"
	"sync"
	"syscall"
	"testing"
	"time"

	"padlark/flight"
	"padlark/flight/phrase"
	"padlark/web/browsertest"
)

// contrastScript computes the contrast of every text on the page as it is
// rendered, by the definition of WCAG 2.2 (relative luminance of sRGB, ratio
// (L1+0.05)/(L2+0.05); 4.5 for text, 3 for text of 24 px or bold text of
// 18.66 px and more, success criterion 1.4.3). A ground that is a gradient
// counts with each of its colours.
const contrastScript = `
window.contrast = (() => {
	const rgb = (c) => { const m = c.match(/rgba?\(([^)]+)\)/); if (!m) return null; const v = m[1].split(/[ ,/]+/).map(Number); return { c: v.slice(0, 3), a: v[3] ?? 1 }; };
	const lum = (c) => { const [r, g, b] = c.map((v) => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; }); return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
	const ratio = (a, b) => { const [x, y] = [lum(a), lum(b)].sort((p, q) => q - p); return (x + 0.05) / (y + 0.05); };
	const grounds = (el) => {
		for (let e = el; e; e = e.parentElement) {
			const s = getComputedStyle(e);
			const all = [...s.backgroundImage.matchAll(/rgba?\([^)]+\)/g)].map((m) => rgb(m[0])).filter((x) => x.a === 1);
			const flat = rgb(s.backgroundColor);
			if (flat && flat.a === 1) all.push(flat);
			if (all.length) return all.map((x) => x.c);
			if (flat && flat.a > 0) return [[127, 127, 127]]; // half transparent: nobody knows
		}
		return [[255, 255, 255]];
	};
	const page = () => {
		const bad = [];
		let n = 0;
		const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
		while (walk.nextNode()) {
			const el = walk.currentNode.parentElement;
			if (!walk.currentNode.textContent.trim() || !el.checkVisibility() || el.closest('.hidden, .skip, noscript, script, option')) continue;
			const box = el.getBoundingClientRect();
			if (box.width < 2 || box.height < 2 || el.closest(':disabled')) continue;
			const s = getComputedStyle(el);
			const px = parseFloat(s.fontSize);
			const large = px >= 24 || (px >= 18.66 && Number(s.fontWeight) >= 700);
			n++;
			for (const g of grounds(el)) {
				const r = ratio(rgb(s.color).c, g);
				if (r < (large ? 3 : 4.5)) bad.push(el.className + ' "' + el.textContent.trim().slice(0, 30) + '" ' + s.color + ' on ' + g + ' = ' + r.toFixed(2));
			}
		}
		return { Bad: [...new Set(bad)], N: n };
	};
	return { page, ratio };
})()`

// wantContrastScript checks the script itself: black on white is 21, and
// #767676 is the lightest grey that passes on white (4.54; from memory).
func wantContrastScript(t *testing.T, b *browsertest.Tab) {
	t.Helper()
	var r []float64
	b.Eval(`[contrast.ratio([0,0,0],[255,255,255]), contrast.ratio([0x76,0x76,0x76],[255,255,255])]`, &r)
	if math.Abs(r[0]-21) > 1e-9 || math.Abs(r[1]-4.54) > 0.005 {
		t.Fatalf("the contrast script computes %v", r)
	}
}

// wantContrast looks at all texts of the page in the colours that it has now.
func wantContrast(t *testing.T, b *browsertest.Tab, page string) {
	t.Helper()
	var got struct {
		Bad   []string
		N     int
		Theme string
	}
	b.Eval(`({...contrast.page(), Theme: document.documentElement.dataset.theme})`, &got)
	for _, bad := range got.Bad {
		t.Errorf("%s, %s: %s", page, got.Theme, bad)
	}
	if got.N < 5 {
		t.Errorf("%s: only %d texts were looked at", page, got.N)
	}
}

// everyState puts a rocket into each state that a card can show, and an alarm
// into each state of an alarm.
//
// Its rockets are ours (see ofEveryState): of guests, nine would be too many to be
// shown.
func everyState(v *invented) {
	now := time.Now()
	put := func(name string, phase flight.Phase, f func(*flight.State)) {
		st := stateOf(name, 42)
		st.Heard, st.At, st.Phase = now, now, phase
		st.HighestM, st.SpeedMps, st.CellV = ptr(50.0), ptr(-3.0), ptr(3.9)
		if f != nil {
			f(st)
		}
		v.publish(Message{State: st})
	}
	put("boost", flight.Boost, nil)
	put("coast", flight.Coast, nil)
	put("fall", flight.Descent, nil)
	put("canopy", flight.Descent, func(s *flight.State) { s.Released = true })
	put("silent", flight.Coast, func(s *flight.State) { s.Heard = now.Add(-time.Minute) })
	put("landed", flight.Landed, nil)
	put("go", flight.Waiting, func(s *flight.State) { s.Go = true })
	put("notyet", flight.Waiting, func(s *flight.State) { s.NotYet = []string{"cell low"} })
	put("gone", flight.Waiting, func(s *flight.State) { s.Heard = now.Add(-time.Minute) })
	for i, p := range []flight.Priority{flight.LookUp, flight.Act, flight.Know} {
		for k := range 3 {
			a := alarmForTest()
			a.ID, a.Priority = fmt.Sprint("a", i, k), p
			a.Active, a.Acked = k != 1, k == 2
			v.publish(Message{Alarm: a})
		}
	}
}

// ofEveryState are options with the rockets of everyState.
func ofEveryState(o Options) Options {
	for _, name := range []string{"boost", "coast", "fall", "canopy", "silent", "landed", "go", "notyet", "gone"} {
		o.Rockets = append(o.Rockets, flight.Rocket{Name: name})
	}
	return o
}

// browserMany: 32 rockets in the air at 20 Hz leave the page above 30 frames a
// second, its transfer below 200 kB, and the station's own share small.
func browserMany(t *testing.T, browser *browsertest.Browser) {
	const rockets = 32
	v := newInvented()
	opt := v.options()
	opt.Rockets = nil
	for i := range rockets {
		opt.Rockets = append(opt.Rockets, flight.Rocket{Name: fmt.Sprintf("Rocket %02d", i+1)})
	}
	_, base := serve(t, opt)
	publish := func(round int) {
		now := time.Now()
		for i, r := range opt.Rockets {
			h := 60 + 50*math.Sin(float64(round)/40+float64(i))
			st := stateOf(r.Name, h)
			st.At, st.Heard, st.Phase, st.Frames = now, now, flight.Descent, uint64(round)
			st.HighestM, st.SpeedMps, st.CellV, st.RSSIDbm = ptr(112.0), ptr(-4.2+0.01*float64(i)), ptr(3.9), ptr(-70.0)
			v.publish(Message{State: st})
		}
	}
	publish(0)
	b := browser.Tab(t, base)
	b.Size(1920, 1080, 1, false)
	b.Open("/?") // the transfer counts from here
	b.Until("all cards", fmt.Sprintf(`document.querySelectorAll('.card.flying').length === %d`, rockets), 10*time.Second)
	if n := b.Bytes(); n > 200_000 || n < 5_000 {
		t.Errorf("loading the board took %d bytes, allowed are 200000", n)
	} else {
		t.Logf("loading the board with %d rockets: %d bytes", rockets, n)
	}
	measureMany(t, b, publish)
	b.Shot("board-32")
	fits32(t, b)
	b.Quiet()
}

// measureMany measures the page and this process while rounds are published.
func measureMany(t *testing.T, b *browsertest.Tab, publish func(round int)) {
	t.Helper()
	const seconds = 3
	var wg sync.WaitGroup
	defer wg.Wait()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	wg.Go(func() {
		tick := time.NewTicker(50 * time.Millisecond)
		defer tick.Stop()
		for round := 1; ; round++ {
			select {
			case <-ctx.Done():
				return
			case <-tick.C:
				publish(round)
			}
		}
	})
	b.Until("warm", `board.frames > 60`, 20*time.Second)
	before, begin, main0 := cpuTime(t), time.Now(), b.Work()
	var got struct {
		Frames  int
		Ms      float64
		Changes int
	}
	b.Eval(fmt.Sprintf(`new Promise((done) => {
		const f0 = board.frames, t0 = performance.now(), texts = new Set();
		const end = t0 + %d;
		const look = () => { texts.add(document.querySelector('.card.flying .big').textContent);
			if (performance.now() < end) requestAnimationFrame(look);
			else done({ Frames: board.frames - f0, Ms: performance.now() - t0, Changes: texts.size }); };
		look(); })`, seconds*1000), &got)
	main1 := b.Work()
	used, took := cpuTime(t)-before, time.Since(begin)
	rate := float64(got.Frames) / got.Ms * 1000
	share := used.Seconds() / took.Seconds()
	work := 1000 * (main1["TaskDuration"] - main0["TaskDuration"]) / float64(got.Frames) // ms a frame
	t.Logf("%.0f frames/s, %.1f ms of the page's main thread a frame; the station's process used %.1f %% of a core", rate, work, 100*share)
	// On a machine that others keep busy the frames say nothing about the page:
	// then its own work must leave room for twice the wanted rate.
	if rate < 30 && (!busy() || work > 1000.0/60) {
		t.Errorf("%.1f frames a second, wanted are 30", rate)
	}
	if work > 1000.0/60 {
		t.Errorf("a frame keeps the page's main thread busy for %.1f ms, with 60 frames a second there are 16.7", work)
	}
	if got.Changes < seconds*2 {
		t.Errorf("the height took only %d values in %d s", got.Changes, seconds)
	}
	if share > 0.10 {
		t.Errorf("the process used %.1f %% of a core for one viewer, allowed are 10 %%", 100*share)
	}
}

// fits32 checks that 32 cards are whole on a 1080p screen.
func fits32(t *testing.T, b *browsertest.Tab) {
	t.Helper()
	var hidden []string
	b.Eval(`[...document.querySelectorAll('.card.flying')].flatMap((c) => [...c.querySelectorAll('.name, header, .height, .second, .facts')]
		.filter((e) => e.scrollWidth > e.clientWidth + 1 || e.className !== 'height' && e.scrollHeight > e.clientHeight + 1 || c.getBoundingClientRect().bottom > innerHeight)
		.map((e) => c.dataset.rocket + ' ' + e.className + ': ' + e.innerText))`, &hidden)
	if len(hidden) > 0 {
		t.Errorf("%d parts of the 32 cards do not fit a 1080p screen: %.300q", len(hidden), hidden)
	}
}

// busy says whether more wants to run on this machine than it has cores for.
func busy() bool {
	b, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		return false
	}
	var one float64
	_, err = fmt.Sscan(string(b), &one)
	return err == nil && one > 1.5*float64(runtime.NumCPU())
}

// cpuTime is what this process has used; the browser is another process.
func cpuTime(t *testing.T) time.Duration {
	t.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		t.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// module imports one of the page's modules for a script.
func module(s *Server, t *testing.T, name string) string {
	t.Helper()
	p, err := s.assets.path(name)
	if err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("await import(%q)", p)
}

// browserArithmetic checks the scales and the words for numbers: against the
// server's own, and against what they must be.
func browserArithmetic(t *testing.T, browser *browsertest.Browser) {
	v := newInvented()
	s, base := serve(t, v.options())
	b := browser.Tab(t, base)
	b.Open("/clock")
	run := func(body string, into any) {
		t.Helper()
		b.Eval(`(async () => { const s = `+module(s, t, "scale.js")+`; const u = `+module(s, t, "units.js")+`; const c = `+module(s, t, "place.js")+`; `+body+` })()`, into)
	}
	for _, r := range []struct {
		lo, hi float64
		n      int
		want   []float64
	}{
		{0, 100, 5, []float64{0, 20, 40, 60, 80, 100}}, {-3.3, 17.2, 6, []float64{0, 5, 10, 15}},
		{0.0012, 0.0019, 4, []float64{0.0012, 0.0014, 0.0016, 0.0018}},
		{99_000, 101_325, 5, []float64{99_000, 99_500, 100_000, 100_500, 101_000}}, {-1, 1, 1, []float64{0}}, {5, 5, 3, []float64{}},
	} {
		var got []float64
		run(fmt.Sprintf(`return s.ticks(%g, %g, %d)`, r.lo, r.hi, r.n), &got)
		near := func(a, b float64) bool { return math.Abs(a-b) <= 1e-9*max(1, math.Abs(a)) }
		if !slices.EqualFunc(r.want, got, near) {
			t.Errorf("ticks of %g to %g: %v, want %v", r.lo, r.hi, got, r.want)
		}
	}
	var ok map[string]bool
	run(`
		const f = s.linear(-2, 6, 100, 500), flat = s.linear(3, 3, 0, 9);
		return {
			"linear": f(2) === 300 && f.invert(300) === 2 && flat(3) === 0 && flat.invert(5) === 3,
			"zoom keeps the point under the finger": (() => { const [a, b] = s.zoom([0, 10], 4, 0.5, [-5, 20], 0.1); return a === 2 && b === 7; })(),
			"zoom stays inside": (() => { const [a, b] = s.zoom([0, 10], 1, 10, [-5, 20], 0.1); return a === -5 && b === 20; })(),
			"zoom is never too near": (() => { const [a, b] = s.zoom([0, 1], 0.5, 0.001, [0, 1], 0.1); return Math.abs(b - a - 0.1) < 1e-12; })(),
			"shift stops at the edge": (() => { const [a, b] = s.shift([0, 4], 99, [0, 10]); return a === 6 && b === 10; })(),
			"extent leaves gaps out": JSON.stringify(s.extent([null, 3, NaN, -1])) === "[-1,3]" && s.extent([null]) === null,
			"nearest": s.nearest([1, 2, 4], 2.9) === 1 && s.nearest([1, 2, 4], 3.1) === 2 && s.nearest([], 1) === -1 && s.nearest([7], 1) === 0,
			"no negative zero": u.fixed(-0.04, 1) === "0.0" && u.fixed(-1.26, 1) === "\u22121.3",
			"a foot is 0.3048 m": u.quantity("height", 30.48, null, "feet") === "100.0 ft",
			"unknown is not 0": u.quantity("height", null) === "not known" && u.glance("height", undefined) === "–",
			"deviation in feet": u.quantity("height", 84.2, 0.4, "feet") === "276.2 ± 1.3 ft",
			"degrees": (() => { const p = c.bearing(52, 5, 52.001, 5); return Math.abs(p.m - 111.195) < 0.01 && p.deg === 0; })(),
			"east": (() => { const p = c.bearing(0, 179.9995, 0, -179.9995); return Math.abs(p.deg - 90) < 1e-6 && Math.abs(p.m - 111.195) < 0.01; })(),
		}`, &ok)
	for name, fine := range ok {
		if !fine {
			t.Errorf("%s: wrong", name)
		}
	}
	unsure := math.NaN()
	for _, p := range []phrase.Phrase{
		phrase.Of("slow-descent", phrase.Word("rocket", "Big 3 m"), phrase.Qty("speed", 4.6449, 1, "m/s"), phrase.Qty("height", -3, 1, "m"),
			phrase.Qty("expected", unsure, 1, "m/s"), phrase.In("drift", phrase.Of("slow-descent.drift", phrase.Qty("wind", 5, 0, "m/s"), phrase.Qty("drift", 61, 0, "m")))),
		phrase.Of("servo-moving", phrase.Word("rocket", "Teal"), phrase.Qty("from", 1100, 0, "us"), phrase.Qty("to", 1904.4, 0, "us")),
		phrase.Of("no-liftoff.jolt", phrase.Qty("accel", 31, 0, "m/s2")), phrase.Of("reboot.pad", phrase.Qty("boot", 3, 0, "")),
		flight.Good.Say(phrase.Of("hard-landing", phrase.PlusMinus("sink", 9.14, new(0.21), "m/s"))), phrase.Of("of another version"),
	} {
		for _, units := range []string{metric, feet} {
			var got string
			want := phrase.Reader{Feet: units == feet}.Write(p, "as it was")
			if run(fmt.Sprintf(`return u.told(%s, "as it was", %q)`, encode(p), units), &got); got != want {
				t.Errorf("%s reads %q on the page, %q elsewhere", p.Key, got, want)
			}
		}
	}
	for _, sd := range []float64{0.0004, 0.013, 0.0199, 0.02, 0.4, 0.96, 1, 1.9, 2, 9.99, 14, 250} {
		var got int
		run(fmt.Sprintf(`return u.plusDecimals(%g)`, sd), &got)
		if want := plusDecimals(sd); got != want {
			t.Errorf("decimals for ± %g: the page shows %d, the server %d", sd, got, want)
		}
	}
}

// drawScript draws a line into a plot of 600 by 300 CSS pixels and gives, for
// each column of screen pixels, the topmost and lowest one that has the line's
// colour (-1: none).
const drawScript = `
	const host = document.createElement("div");
	host.style.cssText = "position:fixed;left:0;top:0;width:600px;z-index:99";
	document.body.append(host);
	const view = new p.View(line.t[0], line.t.at(-1));
	const plot = new p.Plot(host, view, { title: "a test", kind: "height" });
	plot.canvas.style.cssText = "width:600px;height:300px";
	plot.setLines([{ t: line.t, v: line.v, colour: "#ff0000", width: 1 }]);
	await new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r)));
	const { width, height } = plot.canvas;
	const d = plot.canvas.getContext("2d").getImageData(0, 0, width, height).data;
	const columns = [];
	for (let x = 0; x < width; x++) {
		let top = -1, low = -1;
		for (let y = 0; y < height; y++) {
			const i = 4 * (y * width + x);
			if (d[i] > 2 * d[i + 1] + 20 && d[i + 3] > 12) { if (top < 0) top = y; low = y; }
		}
		columns.push([top, low]);
	}
	host.remove();
	return { columns, width, height };`

// browserPixels looks at what a plot has drawn: crisp on a dense screen, a gap
// where there is one, the peak of a spike; and that a reduced line covers the
// same pixels as the whole one, which is what M4 promises.
func browserPixels(t *testing.T, browser *browsertest.Browser) {
	v := newInvented()
	s, base := serve(t, v.options())
	b := browser.Tab(t, base)
	b.Size(800, 700, 2, false)
	b.Open("/clock")
	type drawing struct {
		Columns       [][2]int
		Width, Height int
	}
	draw := func(sr series) drawing {
		t.Helper()
		line, err := json.Marshal(struct {
			T numbersFull `json:"t"`
			V numbersFull `json:"v"`
		}{sr.t, sr.v})
		if err != nil {
			t.Fatal(err)
		}
		var d drawing
		b.Eval(`(async () => { const p = `+module(s, t, "plot.js")+`; const line = `+string(line)+`; `+drawScript+` })()`, &d)
		return d
	}
	const left, right = 58 * 2, 10 * 2 // the plot's margins in screen pixels
	var step series
	for i := range 101 {
		step.t, step.v = append(step.t, float64(i)/10), append(step.v, 20)
	}
	step.v[30] = 80 // a spike of one sample at 3 s
	for i := 60; i < 80; i++ {
		step.v[i] = math.NaN() // nothing from 6 s to 7.9 s
	}
	d := draw(step)
	if d.Width != 1200 || d.Height != 600 {
		t.Fatalf("a canvas of 600 by 300 on a screen of density 2 has %d by %d pixels", d.Width, d.Height)
	}
	x := func(at float64) int { return left + int(at/10*float64(d.Width-left-right)) }
	if c := d.Columns[x(7)]; c[0] >= 0 {
		t.Errorf("in the gap the line is drawn at %v", c)
	}
	flat, spike := d.Columns[x(5)], d.Columns[x(3)]
	if flat[0] < 0 || flat[1]-flat[0] > 2 {
		t.Errorf("a level line of 1 CSS pixel is %d screen pixels thick", flat[1]-flat[0]+1)
	}
	if spike[0] < 0 || spike[0] > flat[0]-300 {
		t.Errorf("the spike reaches %d, the level is at %d", spike[0], flat[0])
	}

	var noisy series
	for i := range 40_000 {
		noisy.t = append(noisy.t, float64(i)*0.001)
		noisy.v = append(noisy.v, 50+20*math.Sin(float64(i)*0.0005)+8*math.Sin(float64(i)*1.3)+3*math.Cos(float64(i*i%977)))
	}
	columns := d.Width - left - right
	small := reduce(noisy, columns)
	whole, reduced := draw(noisy), draw(small)
	// The promise is exact for a line without smoothed edges. With them, and
	// with one line through a column where there were 38, a tip may be fainter:
	// a column in twenty may differ by more than one CSS pixel, none by much.
	off, most := 0, 0
	for i := range whole.Columns {
		for k := range 2 {
			d := abs(whole.Columns[i][k] - reduced.Columns[i][k])
			most = max(most, d)
			if d > 2 {
				off++
			}
		}
	}
	t.Logf("%d samples as %d points: %d of %d columns differ by over a CSS pixel, at most by %d screen pixels", len(noisy.t), len(small.t), off, columns, most)
	if off > columns/20 || most > 12 {
		t.Errorf("%d columns of %d differ, at most by %d screen pixels", off, columns, most)
	}
	b.Quiet()
}

// numbersFull is numbers with every digit.
type numbersFull []float64

func (n numbersFull) MarshalJSON() ([]byte, error) {
	out := make([]*float64, len(n))
	for i := range n {
		out[i] = number(n[i])
	}
	return json.Marshal(out)
}

func abs(v int) int { return max(v, -v) }
