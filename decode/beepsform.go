package decode

import (
	"strconv"
	"strings"

	"padlark/decode/beeps"
	"padlark/ingest"
	hear "padlark/ingest/beeps"
)

// The channels of a sounder's reading. SounderM is the height that was beeped, in m
// and as it was beeped; SounderStepM what its last digit counts; SounderStandard is
// 1 if the board computes for the standard air; SounderHz and SounderRepeats are the
// tone and how often the number was heard.
const (
	SounderM        = "sounder_m"
	SounderStepM    = "sounder_step_m"
	SounderStandard = "sounder_standard"
	SounderHz       = "sounder_hz"
	SounderRepeats  = "sounder_repeats"
)

// compileBeeps compiles a layout of sound.
func (c *compiler) compileBeeps() (*Program, error) {
	if k := c.layout.Framing.Kind; k != "" && k != ingest.FramingBeeps {
		return nil, c.errorf("framing", "%q gives no sound; write framing = \"beeps\"", k)
	}
	code := beeps.Code{}
	if c.layout.Beeps != nil {
		code = *c.layout.Beeps
	}
	if err := code.Validate(); err != nil {
		return nil, c.errorf("beeps", "%w", err)
	}
	c.p.code = code
	c.p.names = []string{SounderM, SounderStepM, SounderStandard, SounderHz, SounderRepeats}
	return c.p, nil
}

// readBeeps reads a strip of sound.
func (p *Program) readBeeps(b []byte, base int, sc *scratch) *Reject {
	strip, err := hear.ParseStrip(b)
	if err != nil {
		return p.reject(Unknown, ReasonNotOurs, "", base, err.Error())
	}
	r := beeps.Read(strip, p.code)
	if !r.Sure {
		return p.reject(Unknown, ReasonUnsure, "", -1, notSure(r, p.code))
	}
	standard := 0.0
	if p.code.Filled().Temperature == beeps.StandardAir {
		standard = 1
	}
	sc.values = append(sc.values[:0], p.code.Metres(r.Number), p.code.StepM(), standard, float64(r.PitchHz), float64(r.Repeats))
	return nil
}

// notSure says what was heard and why it is no reading.
func notSure(r beeps.Reading, code beeps.Code) string {
	var s strings.Builder
	s.WriteString("tone of " + strconv.Itoa(r.PitchHz) + " Hz: ")
	if r.Found {
		s.WriteString("perhaps " + strconv.Itoa(r.Number) + " " + code.Filled().Unit + ", but ")
	}
	s.WriteString(r.Why)
	return s.String()
}
