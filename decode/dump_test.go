package decode

import (
	"strings"
	"testing"
	"time"
)

func TestDumpPlan(t *testing.T) {
	l := layouts(t, `
[[layout]]
name = "own"
framing = "line"
form = "delimited"
fields = [ { name = "pressure_pa" } ]
[layout.dump]
request = "D\r\n"
end_hex = "1A 0a"
quiet_s = 0.5
`)[0]
	if _, err := Compile(l, nil); err != nil {
		t.Fatal(err)
	}
	p, err := l.Dump.Plan()
	if err != nil || string(p.Request) != "D\r\n" || string(p.End) != "\x1a\n" || p.Quiet != time.Second/2 || p.Answer != 5*time.Second || p.Settle != 0 {
		t.Errorf("%+v, %v", p, err)
	}
	for want, d := range map[string]Dump{
		"request contradicts request_hex": {Request: "D", RequestHex: "44"},
		"as hex pairs":                    {EndHex: "4"},
		"at most 64":                      {End: strings.Repeat("x", 65)},
		"quiet_s = -1":                    {QuietS: -1},
		"answer_s = 1e+06":                {AnswerS: 1e6},
	} {
		l.Dump = &d
		if _, err := Compile(l, nil); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", d, err, want)
		}
	}
}
