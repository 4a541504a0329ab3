package flight

import (
	"slices"

	"padlark/decode"
)

// RocketNamed finds the rocket of a name among the configured ones. A second
// sender under a rocket's id, as "Teal (2)", has that rocket's configuration.
// known is false where there is none: then the rocket has nothing but its name.
func RocketNamed(rockets []Rocket, name string) (r Rocket, known bool) {
	by := func(want string) int {
		return slices.IndexFunc(rockets, func(r Rocket) bool { return r.Name == want })
	}
	if i := by(name); i >= 0 {
		return rockets[i], true
	}
	if base, n := decode.SenderOf(name); n > 1 {
		if i := by(base); i >= 0 {
			r = rockets[i]
			r.Name = name
			return r, true
		}
	}
	return Rocket{Name: name}, false
}
