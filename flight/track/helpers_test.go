package track

import "padlark/flight"

var tuneRocket = flight.Rocket{Kind: "water"}

func siteAt(celsius float64) flight.Site { return flight.Site{TemperatureC: &celsius} }
