package ground

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func dms(d, m, s float64) float64 { return d + m/60 + s/3600 }

// Published geodesics. The first is the worked example for Vincenty's formulae of
// the Geocentric Datum of Australia Technical Manual (ICSM; on GRS 80, which gives
// the same to 1 µm); the second and third are the examples of the GeographicLib
// manual, which uses other formulae (Karney 2013; from memory); the fourth is the
// quarter meridian of WGS 84, 10 001 965.729 m (from memory).
func TestPublishedGeodesics(t *testing.T) {
	for _, c := range []struct {
		name            string
		from, to        Place
		metres, azimuth float64
	}{
		{"Flinders Peak to Buninyong", Place{-dms(37, 57, 3.72030), dms(144, 25, 29.52440)},
			Place{-dms(37, 39, 10.15610), dms(143, 55, 35.38390)}, 54972.271, dms(306, 52, 5.37)},
		{"and back", Place{-dms(37, 39, 10.15610), dms(143, 55, 35.38390)},
			Place{-dms(37, 57, 3.72030), dms(144, 25, 29.52440)}, 54972.271, dms(127, 10, 25.07)},
		{"New York to London", Place{40.6, -73.8}, Place{51.6, -0.5}, 5551759.400, 51.198882846},
		{"Wellington to Salamanca", Place{-41.32, 174.81}, Place{40.96, -5.50}, 19959679.267, 161.06766998616},
		{"quarter meridian", Place{0, 10}, Place{90, 10}, 10001965.729, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			d, a := inverse(c.from, c.to)
			if math.Abs(d-c.metres) > 0.0006 {
				t.Errorf("distance %.4f m, published %.3f", d, c.metres)
			}
			if math.Abs(a-c.azimuth)*3600 > 0.0051 { // to the last digit that is printed
				t.Errorf("azimuth %.8f°, published %.8f", a, c.azimuth)
			}
			end := direct(c.from, c.metres, c.azimuth)
			if off, _ := inverse(end, c.to); !(off < 0.005) {
				t.Errorf("the direct problem ends %.4f m from the place: %v", off, end)
			}
		})
	}
}

// Opposite places have no one geodesic, and that is said.
func TestOpposite(t *testing.T) {
	if d, _ := inverse(Place{0, 0}, Place{0.5, 179.7}); !math.IsNaN(d) {
		t.Errorf("distance %v, want NaN", d)
	}
}

// The way there leads there, anywhere on the earth and as far as anybody flies.
func TestThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pad := Place{rapid.Float64Range(-89, 89).Draw(t, "latitude"), rapid.Float64Range(-180, 180).Draw(t, "longitude")}
		e, n := rapid.Float64Range(-20000, 20000).Draw(t, "east"), rapid.Float64Range(-20000, 20000).Draw(t, "north")
		e2, n2 := Plane(pad, ofPlane(pad, e, n))
		if math.Hypot(e-e2, n-n2) > 1e-4 {
			t.Fatalf("%v: %f east %f north came back as %f %f", pad, e, n, e2, n2)
		}
	})
}
