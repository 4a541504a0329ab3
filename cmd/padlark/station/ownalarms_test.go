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
	"padlark/flight/phrase"
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

// rigged are the station's alarms at times that a test sets.
func rigged(p *published, epoch time.Time) (o *ownAlarms, at func(s int)) {
	now := epoch
	o = &ownAlarms{epoch: epoch, now: func() time.Time { return now }, tell: p.alarm, register: alarm.ForStation("s1")}
	return o, func(s int) { now = epoch.Add(time.Duration(s) * time.Second) }
}

var ownEpoch = time.Date(2026, 5, 16, 10, 0, 0, 0, time.UTC)

// The alarms of the station go through the states of IEC 62682: raised,
// acknowledged, returned to normal, in either order of the last two. One that has
// returned and that nobody acknowledged is raised again as the same.
func TestOwnAlarmLifeCycle(t *testing.T) {
	for _, c := range []struct {
		name string
		do   func(at func(s int), raise, clear func(), ack func(id string) bool) bool // the acknowledgement counted
		want []string
		open int
	}{
		{"acknowledged while it is active", func(at func(s int), raise, clear func(), ack func(id string) bool) bool {
			at(1)
			raise()
			at(2)
			ok := ack("disk-full/1000")
			clear()
			return ok
		}, []string{"1000 1 true false", "1000 2 true true", "1000 3 false true"}, 0},
		{"acknowledged after it has cleared", func(at func(s int), raise, clear func(), ack func(id string) bool) bool {
			at(1)
			raise()
			clear()
			return ack("disk-full/1000")
		}, []string{"1000 1 true false", "1000 2 false false", "1000 3 false true"}, 0},
		{"raised twice, and again before anybody acknowledged", func(at func(s int), raise, clear func(), ack func(id string) bool) bool {
			at(1)
			raise()
			raise()
			clear()
			at(3)
			raise()
			return ack("disk-full/1000")
		}, []string{"1000 1 true false", "1000 2 false false", "1000 3 true false", "1000 4 true true"}, 1},
		{"another one after that", func(at func(s int), raise, clear func(), ack func(id string) bool) bool {
			at(1)
			raise()
			clear()
			ack("disk-full/1000")
			at(4)
			raise()
			return ack("disk-full/4000")
		}, []string{"1000 1 true false", "1000 2 false false", "1000 3 false true", "4000 1 true false", "4000 2 true true"}, 1},
		{"acknowledged twice", func(at func(s int), raise, clear func(), ack func(id string) bool) bool {
			at(1)
			raise()
			ack("disk-full/1000")
			return !ack("disk-full/1000")
		}, []string{"1000 1 true false", "1000 2 true true"}, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			var p published
			o, at := rigged(&p, ownEpoch)
			raise := func() { o.Raise(alarm.DiskFull, flight.Act, phrase.Of("disk-full.say"), phrase.Of("disk-full")) }
			if !c.do(at, raise, func() { o.Clear(alarm.DiskFull, phrase.Phrase{}) }, o.Ack) {
				t.Error("the acknowledgement does not count as it should")
			}
			if diff := cmp.Diff(c.want, p.steps()); diff != "" {
				t.Errorf("changes (-want +got):\n%s", diff)
			}
			if n := len(o.register.Open()); n != c.open {
				t.Errorf("%d open, want %d", n, c.open)
			}
		})
	}
}

// What an interrupted run left open is gone on with, under its ID: it clears and is
// acknowledged, and what is raised after it has another ID, also if the journal knew
// nothing of one that was raised before.
func TestOwnAlarmsAfterARestart(t *testing.T) {
	var before published
	o, at := rigged(&before, ownEpoch)
	at(1)
	o.Raise(alarm.DiskFull, flight.Act, phrase.Of("disk-full.say"), phrase.Of("disk-full"))
	o.Raise(alarm.ServerAway, flight.Know, phrase.Of("server-away.say"), phrase.Of("server-away"))
	o.Ack("disk-full/1000")
	newest := alarm.Newest{"Teal/silent/1": {ID: "Teal/silent/1", Rocket: "Teal", Kind: "silent", Change: 1, Active: true}}
	for i := range before {
		newest.Take(&before[i])
	}
	var p published
	o, at = rigged(&p, ownEpoch)
	o.register.Restore(newest.List())
	at(60)
	o.Raise(alarm.DiskFull, flight.Act, phrase.Of("disk-full.say"), phrase.Of("disk-full")) // still full: nothing has changed
	at(61)
	o.Clear(alarm.DiskFull, phrase.Phrase{})
	o.Clear(alarm.ServerAway, phrase.Phrase{})
	if !o.Ack("server-away/1000") {
		t.Error("an alarm of before cannot be acknowledged")
	}
	o.Raise(alarm.DiskFull, flight.Act, phrase.Of("disk-full.say"), phrase.Of("disk-full"))
	want := []string{"1000 3 false true", "server-away/1000 2 false false", "server-away/1000 3 false true", "61000 1 true false"}
	if diff := cmp.Diff(want, p.steps()); diff != "" {
		t.Errorf("changes (-want +got):\n%s", diff)
	}
}

// The pages acknowledge it like any other alarm, of the running session only.
func TestOwnAlarmIsAcknowledgedFromThePages(t *testing.T) {
	var p published
	o, at := rigged(&p, ownEpoch)
	at(1)
	o.Raise(alarm.DiskFull, flight.Act, phrase.Of("disk-full.say"), phrase.Of("disk-full"))
	a := acker{wire.Acker{Session: "s1"}, o}
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
		"flight/alarm kind", // of a slot: a rule's, or one of the station's kinds
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
