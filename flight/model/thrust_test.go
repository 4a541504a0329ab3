package model

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestReadThrust(t *testing.T) {
	got, err := ReadThrust(strings.NewReader("# Plum's motor\nseconds,newtons\n0, 0\n\n0.3,14\n1.6,0\n"))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]Thrust{{}, {T: 0.3, N: 14}, {T: 1.6}}, got); d != "" {
		t.Errorf("curve (-want +got):\n%s", d)
	}
	for _, bad := range []string{"0,0\n1;2\n", "0,0\n0.1\n", "0,0\ntime,force\n", "x\n", "0,,5\n"} {
		if c, err := ReadThrust(strings.NewReader(bad)); err == nil {
			t.Errorf("%q gives %v", bad, c)
		} else if !strings.Contains(err.Error(), "line ") {
			t.Errorf("%q: no line in %v", bad, err)
		}
	}
}

func FuzzReadThrust(f *testing.F) {
	f.Add("seconds,newtons\n0,0\n0.3,14\n")
	f.Add("0,0\n1;2\n")
	f.Fuzz(func(t *testing.T, s string) {
		c, err := ReadThrust(strings.NewReader(s))
		if err == nil && len(c) > thrustLines {
			t.Errorf("%d points", len(c))
		}
	})
}
