package main

import "padlark/flight/phrase"

// unitFlags choose what lengths, speeds and accelerations are printed in. JSON and
// everything stored is in SI units.
type unitFlags struct {
	Units string `help:"Print lengths and speeds in metric units or in feet." enum:"metric,feet" default:"metric"`
}

func (f unitFlags) reader() phrase.Reader { return phrase.Reader{Feet: f.Units == "feet"} }
