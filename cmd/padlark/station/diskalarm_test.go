package station

import (
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/web"
	"padlark/web/wire"
)

// published collects what is said.
type published []flight.Alarm

func (p *published) alarm(a flight.Alarm) error {
	*p = append(*p, a)
	return nil
}

// steps writes each change as "number active acked".
func (p published) steps() []string {
	var out []string
	for _, a := range p {
		out = append(out, fmt.Sprintf("%s %d %v %v", strings.TrimPrefix(a.ID, alarm.DiskFull+"/"), a.Change, a.Active, a.Acked))
	}
	return out
}

// The alarm of a full disk goes through the states of IEC 62682: raised,
// acknowledged, returned to normal, in either order of the last two. One that has
// returned and that nobody acknowledged is raised again as the same.
func TestDiskAlarmLifeCycle(t *testing.T) {
	at := func(s int) time.Time { return time.Date(2026, 5, 16, 10, 0, s, 0, time.UTC) }
	for _, c := range []struct {
		name string
		do   func(d *diskAlarm) bool // the acknowledgement counted
		want []string
		open int
	}{
		{"acknowledged while it is active", func(d *diskAlarm) bool {
			d.raise(at(1), "no room")
			ok := d.Ack("disk-full/1000", at(2))
			d.clear(at(3))
			return ok
		}, []string{"1000 1 true false", "1000 2 true true", "1000 3 false true"}, 0},
		{"acknowledged after it has cleared", func(d *diskAlarm) bool {
			d.raise(at(1), "no room")
			d.clear(at(2))
			return d.Ack("disk-full/1000", at(3))
		}, []string{"1000 1 true false", "1000 2 false false", "1000 3 false true"}, 0},
		{"raised again before anybody acknowledged", func(d *diskAlarm) bool {
			d.raise(at(1), "no room")
			d.clear(at(2))
			d.raise(at(3), "no room")
			return d.Ack("disk-full/1000", at(4))
		}, []string{"1000 1 true false", "1000 2 false false", "1000 3 true false", "1000 4 true true"}, 1},
		{"another one after that", func(d *diskAlarm) bool {
			d.raise(at(1), "no room")
			d.clear(at(2))
			d.Ack("disk-full/1000", at(3))
			d.raise(at(4), "no room")
			return d.Ack("disk-full/4000", at(5))
		}, []string{"1000 1 true false", "1000 2 false false", "1000 3 false true", "4000 1 true false", "4000 2 true true"}, 1},
		{"acknowledged twice", func(d *diskAlarm) bool {
			d.raise(at(1), "no room")
			d.Ack("disk-full/1000", at(2))
			return !d.Ack("disk-full/1000", at(3))
		}, []string{"1000 1 true false", "1000 2 true true"}, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			var p published
			d := &diskAlarm{session: "s1", epoch: at(0), tell: p.alarm}
			if !c.do(d) {
				t.Error("the acknowledgement does not count as it should")
			}
			if diff := cmp.Diff(c.want, p.steps()); diff != "" {
				t.Errorf("changes (-want +got):\n%s", diff)
			}
			if len(d.open) != c.open {
				t.Errorf("%d open, want %d", len(d.open), c.open)
			}
		})
	}
}

// What an interrupted run left open is gone on with, under its ID.
func TestDiskAlarmAfterARestart(t *testing.T) {
	at := func(s int) time.Time { return time.Date(2026, 5, 16, 10, 0, s, 0, time.UTC) }
	var before published
	d := &diskAlarm{session: "s1", epoch: at(0), tell: before.alarm}
	d.raise(at(1), "no room")
	d.Ack("disk-full/1000", at(2))
	var p published
	d = &diskAlarm{session: "s1", epoch: at(0), tell: p.alarm}
	newest := map[string]flight.Alarm{"Teal/silent/1": {ID: "Teal/silent/1", Kind: "silent", Change: 1, Active: true}}
	for _, a := range before {
		newest[a.ID] = a
	}
	if !d.adopt(newest) {
		t.Error("the alarm that was active is not")
	}
	d.raise(at(60), "no room") // still full: nothing has changed
	d.clear(at(61))
	if diff := cmp.Diff([]string{"1000 3 false true"}, p.steps()); diff != "" {
		t.Errorf("changes (-want +got):\n%s", diff)
	}
}

// The pages acknowledge it like any other alarm, of the running session only.
func TestDiskAlarmIsAcknowledgedFromThePages(t *testing.T) {
	var p published
	epoch := time.Date(2026, 5, 16, 10, 0, 0, 0, time.UTC)
	d := &diskAlarm{session: "s1", epoch: epoch, tell: p.alarm}
	d.raise(epoch.Add(time.Second), "no room")
	a := acker{wire.Acker{Session: "s1", Now: func() time.Time { return epoch.Add(time.Minute) }}, d, nil}
	if err := a.Ack(t.Context(), "s0", "disk-full/1000"); !errors.Is(err, web.ErrNotFound) {
		t.Errorf("of another session: error %v", err)
	}
	if err := a.Ack(t.Context(), "s1", "disk-full/1000"); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]string{"1000 1 true false", "1000 2 true true"}, p.steps()); diff != "" {
		t.Errorf("changes (-want +got):\n%s", diff)
	}
}

// Every kind of alarm that any part of the program raises has a page: the kinds
// are listed in flight/alarm, a test there holds that each has one, and whoever
// makes an alarm takes its kind from that list.
func TestEveryAlarmHasAPage(t *testing.T) {
	var made []string // where alarms are made, and of which kind
	err := filepath.WalkDir("../../..", func(path string, f fs.DirEntry, err error) error {
		if err != nil || f.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		ast.Inspect(file, func(n ast.Node) bool {
			if lit, ok := n.(*ast.CompositeLit); ok && isAlarm(lit.Type) {
				for _, e := range lit.Elts {
					if kv, ok := e.(*ast.KeyValueExpr); ok && name(kv.Key) == "Kind" {
						made = append(made, filepath.ToSlash(filepath.Dir(path))[len("../../../"):]+" "+name(kv.Value))
					}
				}
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(made)
	want := []string{
		"cmd/padlark/station DiskFull",
		"flight/alarm Kind",   // kinds[i].Kind, of a rule
		"storage/influx kind", // a parameter: ServerAway, ServerAside
	}
	if diff := cmp.Diff(want, made); diff != "" {
		t.Errorf("alarms are made elsewhere too: list their kinds in flight/alarm, write their pages, and then this place here (-want +got):\n%s", diff)
	}
	for _, k := range alarm.Kinds() {
		if _, ok := alarm.Page(k.Kind); !ok {
			t.Errorf("%s has no page", k.Kind)
		}
	}
}

func isAlarm(e ast.Expr) bool {
	s, ok := e.(*ast.SelectorExpr)
	return ok && s.Sel.Name == "Alarm" && name(s.X) == "flight"
}

// name is the last name in an expression.
func name(e ast.Expr) string {
	switch x := e.(type) {
	case *ast.Ident:
		return x.Name
	case *ast.SelectorExpr:
		return x.Sel.Name
	}
	return "?"
}
