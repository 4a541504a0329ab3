package watch

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"padlark/flight"
)

// A change in the middle of a flight is the same whether it comes while the samples
// do or is known beforehand, as in a replay; a change to the same configuration
// changes nothing, and what was known of the flight stays.
func TestReconfigured(t *testing.T) {
	f, newEngine := flown(t)
	end := int64(f.EndS*1e9) + f.Samples[0].Passed
	plain := alone(newEngine(), f.Samples, end)
	place := f.Samples[0].Passed
	for _, ev := range plain.Events {
		if ev.Kind == flight.Apogee {
			place = ev.CalledAt.Sub(newEngine().cfg.Epoch).Nanoseconds()
		}
	}
	same := newEngine().cfg
	other := newEngine().cfg
	other.Rockets = append([]flight.Rocket{}, other.Rockets...)
	other.Rockets[0].ReleaseDelayS = 1.5
	other.Rockets = append(other.Rockets, flight.Rocket{Name: "Rust"})
	other.Thresholds.Water.SilentFlightS = 9
	other.Thresholds.Off = []string{"silent"}
	for name, cfg := range map[string]Config{"same": same, "other": other} {
		live := newEngine()
		var out Output
		changed := false
		for i := range f.Samples {
			if s := &f.Samples[i]; !changed && s.Passed > place {
				o, err := live.Reconfigure(place, cfg)
				if err != nil {
					t.Fatal(err)
				}
				out.add(o)
				changed = true
			}
			out.add(live.Sample(&f.Samples[i]))
		}
		out.add(live.Advance(end))
		if !changed {
			t.Fatal("nothing was changed")
		}
		again := newEngine()
		if err := again.Plan([]Change{{place, cfg}}); err != nil {
			t.Fatal(err)
		}
		replayed := alone(again, f.Samples, end)
		if diff := cmp.Diff(asJSON(t, out), asJSON(t, replayed)); diff != "" {
			t.Errorf("%s: live and replayed differ (-live +replayed):\n%s", name, diff)
		}
		if name == "same" {
			if diff := cmp.Diff(asJSON(t, plain), asJSON(t, out)); diff != "" {
				t.Errorf("a change to the same configuration changed something (-without +with):\n%s", diff)
			}
			continue
		}
		st, ok := live.State(f.Rocket.Name)
		if !ok || st.Phase != flight.Landed || st.Flight != 1 {
			t.Errorf("the flight did not go on: %+v", st)
		}
	}
}

// A rocket that is configured no more is forgotten and its alarms are settled; one
// that was heard under its id begins under its name. What cannot be is refused and
// changes nothing.
func TestReconfiguredRockets(t *testing.T) {
	f, newEngine := flown(t)
	e := newEngine()
	half := len(f.Samples) / 2
	out := alone(e, f.Samples[:half], f.Samples[half].Passed+20e9) // it falls silent
	standing := map[string]bool{}
	for _, a := range out.Alarms {
		standing[a.ID] = a.Active
	}
	id := uint32(12)
	cfg := e.cfg
	cfg.Rockets = []flight.Rocket{{Name: "Rust", ID: &id}, {Name: "Rust"}}
	if _, err := e.Reconfigure(e.Ticked()+1, cfg); err == nil {
		t.Fatal("two rockets of one name are taken")
	}
	if _, ok := e.State(f.Rocket.Name); !ok {
		t.Fatal("a refused change has changed something")
	}
	cfg.Rockets = cfg.Rockets[:1]
	o, err := e.Reconfigure(e.Ticked()+1, cfg)
	if err != nil {
		t.Fatal(err)
	}
	settled := 0
	for _, a := range o.Alarms {
		if a.Active {
			t.Errorf("%s stands", a.ID)
		}
		settled++
		delete(standing, a.ID)
	}
	for id, active := range standing {
		if active {
			t.Errorf("%s was not settled", id)
		}
	}
	if settled == 0 {
		t.Error("no alarm stood: the test is void")
	}
	if got := e.Rockets(); len(got) != 0 {
		t.Errorf("still followed: %q", got)
	}
}
