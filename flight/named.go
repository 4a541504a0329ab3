package flight

import (
	"slices"
	"strings"
)

// RocketNamed finds the rocket of a name among the configured ones. A second
// sender under a rocket's id has that rocket's configuration.
// known is false where there is none: then the rocket has nothing but its name.
func RocketNamed(rockets []Rocket, name string) (r Rocket, known bool) {
	by := func(want string) int {
		return slices.IndexFunc(rockets, func(r Rocket) bool { return r.Name == want })
	}
	if i := by(name); i >= 0 {
		return rockets[i], true
	}
	// "Teal (2)" and "Teal (north)" are other senders under Teal's id.
	if at := strings.LastIndex(name, " ("); at > 0 && strings.HasSuffix(name, ")") {
		if i := by(name[:at]); i >= 0 {
			r = rockets[i]
			r.Name = name
			return r, true
		}
	}
	return Rocket{Name: name}, false
}
