package web

import (
	"bytes"
	"flag"
	"image"
	"image/color"
	"image/png"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"testing"
	"time"

	"padlark/flight"
	"padlark/web/browsertest"
)

var update = flag.Bool("update", false, "refresh the pictures of the README")

// unlike is how far a picture may be from what a test sees: the mean difference of
// brightness over squares, of 255. Fonts differ between computers; a page that has
// been set anew differs more.
const unlike = 14

// browserPictures keeps the pictures that the README shows: the board in flight
// and the report of one. They are made here, so they cannot grow old unnoticed.
func browserPictures(t *testing.T, browser *browsertest.Browser) {
	v := recorded()
	_, base := serve(t, v.options())
	b := browser.Tab(t, base)
	b.Size(1280, 720, 1, false)
	at := time.Now().Add(-6 * time.Second)
	put := func(name string, s, height, speed float64, f func(*flight.State)) {
		st := stateOf(name, height)
		st.At, st.SpeedMps, st.CellV, st.Flight = at.Add(time.Duration(s*float64(time.Second))), &speed, ptr(3.92), 1
		st.Heard = time.Now().Add(time.Hour) // so that nothing grows old while it is looked at
		f(st)
		v.publish(Message{State: st})
	}
	for i := range 24 { // the way up and a little down
		s := float64(i) * 0.25
		put("Teal", s, 38*s-4.9*s*s, 38-9.8*s, func(st *flight.State) {
			st.Phase, st.HighestM, st.PredictedM, st.ToApogeeS = flight.Coast, ptr(73.0), ptr(74.0), ptr(3.9-s)
			if s > 4 {
				st.Phase, st.Released, st.AltitudeM, st.SpeedMps = flight.Descent, true, ptr(74-4.6*(s-4)), ptr(-4.6)
			}
		})
	}
	put("Rust", 6, 0.1, 0, func(st *flight.State) { st.Phase, st.Go = flight.Waiting, true })
	put("Plum", 6, 0.2, 0, func(st *flight.State) {
		st.Phase, st.NotYet = flight.Waiting, []string{"cell low: 3.52 V at rest, 3.6 V is the least for a servo release"}
	})
	b.Open("/")
	b.Until("the cards", `document.querySelectorAll('.card').length === 3 && document.querySelector('.flying .word').textContent === 'Descent' && !board.fit.wanted && board.picture.changed.size === 0 &&
		board.picture.trace('Teal').t.length > 8 && [...board.cards.values()].every((c) => c.drawn > 0)`, 10*time.Second)
	like(t, "board.png", b.PNG())
	b.Open("/flights/" + url.PathEscape(day+"~Teal~1") + "/report")
	b.Until("the report", `document.querySelector('svg') && document.fonts.status === 'loaded'`, 10*time.Second)
	like(t, "report.png", b.PNG())
}

// like compares a picture with the one that is kept, square by square.
func like(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("..", "testdata", "pictures", name)
	img, err := png.Decode(bytes.NewReader(got))
	if err != nil {
		t.Fatal(err)
	}
	if *update {
		var out bytes.Buffer
		if err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&out, fewColours(img)); err != nil {
			t.Fatal(err)
		}
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, out.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	kept, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	want, err := png.Decode(bytes.NewReader(kept))
	if err != nil {
		t.Fatal(err)
	}
	if img.Bounds() != want.Bounds() {
		t.Fatalf("%s: the page is %v, the picture %v: refresh it with -update", name, img.Bounds(), want.Bounds())
	}
	a, c := squares(img), squares(want)
	sum := 0.0
	for i := range a {
		sum += math.Abs(a[i] - c[i])
	}
	off := sum / float64(len(a))
	t.Logf("%s is off by %.1f of 255", name, off)
	if off > unlike {
		t.Errorf("%s no longer looks like the page: off by %.1f of 255, allowed are %d: look at it and refresh it with -update", path, off, unlike)
	}
}

// squares is the mean brightness of squares of 20 px.
func squares(img image.Image) []float64 {
	const side = 20
	var out []float64
	r := img.Bounds()
	for y := r.Min.Y; y < r.Max.Y; y += side {
		for x := r.Min.X; x < r.Max.X; x += side {
			sum, n := 0.0, 0.0
			for dy := 0; dy < side && y+dy < r.Max.Y; dy++ {
				for dx := 0; dx < side && x+dx < r.Max.X; dx++ {
					sum += float64(color.GrayModel.Convert(img.At(x+dx, y+dy)).(color.Gray).Y)
					n++
				}
			}
			out = append(out, sum/n)
		}
	}
	return out
}

// fewColours keeps a picture small: its 200 most frequent colours, the others by
// the nearest of them.
func fewColours(img image.Image) image.Image {
	count := map[color.RGBA]int{}
	r := img.Bounds()
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			c := color.RGBAModel.Convert(img.At(x, y)).(color.RGBA)
			count[color.RGBA{c.R &^ 7, c.G &^ 7, c.B &^ 7, 255}]++
		}
	}
	var palette color.Palette
	for len(palette) < 200 && len(count) > 0 {
		var most color.RGBA
		n := -1
		for c, k := range count {
			if k > n || k == n && (c.R < most.R || c.R == most.R && (c.G < most.G || c.G == most.G && c.B < most.B)) {
				most, n = c, k
			}
		}
		delete(count, most)
		palette = append(palette, color.RGBA{most.R | most.R>>5, most.G | most.G>>5, most.B | most.B>>5, 255})
	}
	out := image.NewPaletted(r, palette)
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			out.Set(x, y, img.At(x, y))
		}
	}
	return out
}
