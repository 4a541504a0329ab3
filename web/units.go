package web

import (
	"math"
	"net/http"
	"strings"

	"padlark/flight"
	"padlark/flight/phrase"
)

// reader is whom a page is for. What is stored and sent is metric; it is converted
// where it is written for a person, and static/units.js does the same in the
// browser.
type reader struct{ phrase.Reader }

// The units that a reader may choose for lengths, speeds and accelerations.
const (
	metric = "metric"
	feet   = "feet"
)

// unitsCookie is where the pages' switch leaves the choice for the server.
const unitsCookie = "padlark-units"

// reader finds whom an answer is for: the units that the address asks for with
// units=, or else those that were chosen on the pages or for the station, in a language of the browser.
func (s *Server) reader(r *http.Request) (to reader, err error) {
	v := r.URL.Query().Get("units")
	if v != "" && v != metric && v != feet {
		return to, badRequest("units", v, "give metric or feet")
	}
	if c, err := r.Cookie(unitsCookie); v == "" && err == nil {
		v = c.Value
	}
	to.Feet = v == feet || v == "" && s.opt.Reader.Feet
	to.Language = phrase.Prefer(strings.Join(r.Header.Values("Accept-Language"), ","), s.opt.Reader.Language)
	return to, nil
}

// Texts is the file of the texts in the reader's language.
func (u reader) Texts() string { return textsFile(u.Lang()) }

// Units is the choice as pages and addresses name it.
func (u reader) Units() string {
	if u.Feet {
		return feet
	}
	return metric
}

// unitOf names the unit that a kind of quantity is shown in.
func (u reader) unitOf(kind string) string {
	unit, _ := u.Unit(unitsOf[kind])
	return unit
}

// unitsOf are the SI units of the kinds of quantity.
var unitsOf = map[string]string{"height": "m", "speed": "m/s", "accel": "m/s²", "time": "s", "volts": "V"}

// convert takes an SI value to the unit that it is shown in.
func (u reader) convert(kind string, si float64) float64 {
	_, per := u.Unit(unitsOf[kind])
	return si / per
}

// Num writes a value with its unit and ± one standard deviation, with as many
// decimals as the deviation bears; "not known" when it is not.
func (u reader) Num(kind string, v, sd *float64) string {
	if v == nil || math.IsNaN(*v) || math.IsInf(*v, 0) {
		return u.Say("not known")
	}
	unit := u.unitOf(kind)
	if sd == nil || math.IsNaN(*sd) || *sd <= 0 {
		return trimMinus(u.Number(u.convert(kind, *v), decimalsFor(kind)) + " " + unit)
	}
	s := u.convert(kind, *sd)
	d := plusDecimals(s)
	return trimMinus(u.Number(u.convert(kind, *v), d) + " ± " + u.Number(s, d) + " " + unit)
}

// saying is a sentence for the page. Data is for the script that writes it anew
// when the units are changed there.
type saying struct {
	Text  string // as its reader reads it
	Data  string // JSON of said
	Class string // of a verdict
}

// said is a phrase with what it reads where its key is not known.
type said struct {
	Text   string        `json:"text"`
	Phrase phrase.Phrase `json:"phrase"`
}

func (u reader) saying(p phrase.Phrase, otherwise string) saying {
	return saying{Text: u.Write(p, otherwise), Data: string(encode(said{otherwise, p}))}
}

// Verdict is a flight's verdict.
func (u reader) Verdict(r flight.Result) saying {
	s := u.saying(r.Level.Say(r.Reason), r.Verdict)
	s.Class = string(r.Level)
	return s
}

// Alarm is what an alarm says at length, Call what it says in short.
func (u reader) Alarm(a flight.Alarm) saying { return u.saying(a.ReasonPhrase, a.Reason) }
func (u reader) Call(a flight.Alarm) saying  { return u.saying(a.SayPhrase, a.Say) }

// Event names what happened, Phase where in its flight a rocket is.
func (u reader) Event(k flight.Kind) string {
	return u.Write(phrase.Of("event."+string(k)), string(k))
}
func (u reader) Phase(p flight.Phase) string {
	if p == "" {
		return ""
	}
	return u.Say(strings.ToUpper(string(p[:1])) + string(p[1:]))
}

// NotYet is what keeps a rocket from flying.
func (u reader) NotYet(s *flight.State) (out []saying) {
	for _, one := range notYetOf(s) {
		out = append(out, u.saying(one.Phrase, one.Text))
	}
	return out
}

// notYetOf is what keeps a rocket from flying. Another program on the bus may give
// the words alone.
func notYetOf(s *flight.State) []said {
	out := make([]said, len(s.NotYet))
	for i, text := range s.NotYet {
		out[i].Text = text
		if i < len(s.NotYetPhrases) {
			out[i].Phrase = s.NotYetPhrases[i]
		}
	}
	return out
}
