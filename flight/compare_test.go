package flight

import (
	"slices"
	"testing"
)

// TestCompare: what is alike, what differs, and what only one of them has is told
// apart; the same events in another order are equal, but not the same.
func TestCompare(t *testing.T) {
	up, down := Event{ID: "Teal/liftoff/1", Kind: Liftoff}, Event{ID: "Teal/touchdown/1", Kind: Touchdown}
	late, only := down, Event{ID: "Teal/apogee/1", Kind: Apogee}
	late.Note = "late"
	for _, c := range []struct {
		name    string
		was, is []Event
		differ  [][2]string // notes or ids, "" for none
		equal   int
		same    bool
	}{
		{"nothing", nil, nil, nil, 0, true},
		{"alike", []Event{up, down}, []Event{up, down}, nil, 2, true},
		{"in another order", []Event{up, down}, []Event{down, up}, nil, 2, false},
		{"changed", []Event{up, down}, []Event{up, late}, [][2]string{{down.ID, late.ID + " late"}}, 1, false},
		{"gone", []Event{up, only}, []Event{up}, [][2]string{{only.ID, ""}}, 1, false},
		{"come", []Event{up}, []Event{only, up}, [][2]string{{"", only.ID}}, 1, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			differ, equal, same, err := Compare(c.was, c.is)
			if err != nil {
				t.Fatal(err)
			}
			var got [][2]string
			for _, d := range differ {
				var one [2]string
				for i, e := range []*Event{d.Was, d.Is} {
					if e != nil {
						one[i] = e.ID
						if e.Note != "" {
							one[i] += " " + e.Note
						}
					}
				}
				got = append(got, one)
			}
			if !slices.Equal(got, c.differ) || equal != c.equal || same != c.same {
				t.Errorf("differ %q, %d equal, same %v; want %q, %d, %v", got, equal, same, c.differ, c.equal, c.same)
			}
		})
	}
}
