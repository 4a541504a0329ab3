package decode

import (
	"bytes"
	"testing"

	"padlark/storage/snapshot"
)

// TestLessonsAreKept: a decoder whose state was kept while its programs were not
// goes on as the one that was heard all along, whatever its links had been told,
// and from any place in between.
func TestLessonsAreKept(t *testing.T) {
	const columns = `[[layout]]
name = "log"
framing = "line"
form = "delimited"
fields = [ { name = "pressure_pa", column = "p" }, { name = "clock", column = "t" } ]
`
	for _, c := range []struct {
		text, layout string
		lines        []string
	}{
		{columns, "log", []string{"t (ms),p (hPa)", "100,1013.25", "200,1013", "p [Pa],x,t [s]", "101325,,0.3", "101300,,0.4"}},
		{aprsLayout, "tnc", []string{
			"N0CALL-11>APRS:T#005,199,100,255,073,123,01101001", "N0CALL-11>APRS::N0CALL-11:PARM.Vcell",
			"N0CALL-11>APRS::N0CALL-11:EQNS.0,.02,0.1", "N0CALL-11>APRS:T#006,199,100,255,073,123,01101001", "N0CALL-11>APRS:T#007,199,100,255,073,123,01101001"}},
	} {
		for cut := range c.lines {
			first := station(t, c.text, c.layout)
			for i, line := range c.lines[:cut] {
				outcome(first, i, line)
			}
			known := func(d *Decoder) snapshot.Known {
				k := snapshot.Known{Shared: map[string]any{}}
				for name, p := range d.Programs() {
					k.Shared[name] = p
				}
				return k
			}
			var b bytes.Buffer
			if err := snapshot.Write(&b, first, known(first)); err != nil {
				t.Fatal(err)
			}
			second, fresh := &Decoder{}, station(t, c.text, c.layout)
			if err := snapshot.Read(&b, b.Len(), second, known(fresh)); err != nil {
				t.Fatal(err)
			}
			if err := second.Refresh(); err != nil {
				t.Fatal(err)
			}
			for i, line := range c.lines[cut:] {
				if a, b := outcome(first, cut+i, line), outcome(second, cut+i, line); a != b {
					t.Errorf("%s, kept before line %d: %q gives\n%s, and without keeping\n%s", c.layout, cut, line, b, a)
				}
			}
		}
	}
}
