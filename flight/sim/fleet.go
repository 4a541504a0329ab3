package sim

import (
	"fmt"

	"padlark/decode"
	"padlark/flight"
)

// Fleet is a scenario of n rockets that all fly at about the same time, for
// measuring what a station can carry: frames at rateHz, four boards to a
// datagram link (more where there would be over 16 links), nothing lost;
// lark-bin as far as its number of one byte goes, lark-text from there on. N is
// from 1 to 512, the rate from 1 to 1000 Hz. The first goes up after padS s.
func Fleet(n int, rateHz, padS float64) (Scenario, error) {
	if n < 1 || n > 512 {
		return Scenario{}, fmt.Errorf("make fleet: %d rockets; give 1 to 512", n)
	}
	elevation, temperature := 212.0, 17.5
	s := Scenario{
		Name: "fleet", RoundS: padS + 60, BreakS: 2,
		Site: flight.Site{ElevationM: &elevation, TemperatureC: &temperature, FieldRadiusM: 200},
	}
	each := max(4, (n+15)/16)
	for i := range n {
		if i%each == 0 {
			layout := "lark-bin"
			if i+each > 255 {
				layout = "lark-text"
			}
			s.Links = append(s.Links, Link{Name: fmt.Sprintf("radio-%02d", i/each+1), Kind: kindUDP, Layout: layout})
		}
		id := uint32(i + 1)
		s.Boards = append(s.Boards, Board{
			Rocket: flight.Rocket{
				Name: fmt.Sprintf("Teal-%03d", id), ID: &id, Cell: "lipo-1s", Release: "servo", RateHz: rateHz,
				ReleaseRestUs: 1000, ReleaseOpenUs: 1900, ReleaseMinUs: 800, ReleaseMaxUs: 2200,
			},
			Link: s.Links[len(s.Links)-1].Name, LiftoffS: padS + 0.25*float64(i%16),
			ApogeeM: 45 + float64(i%8)*8, SinkMps: 4.5, ReleaseLagS: 0.2, TiltDeg: 2,
			NoiseM: 0.25, StepPa: 0.1, SkewPpm: float64(i%40) - 20,
		})
	}
	return s, s.Validate()
}

// LayoutOf is the layout that a link's frames have; ok is false if neither the
// scenario nor the built-in ones have it.
func (s *Scenario) LayoutOf(link string) (l decode.Layout, ok bool) {
	built, err := decode.Builtin()
	if err != nil {
		return l, false
	}
	for _, k := range s.Links {
		if k.Name != link {
			continue
		}
		for _, y := range decode.Join(built, s.Layouts) {
			if y.Name == k.Layout {
				return y, true
			}
		}
	}
	return l, false
}
