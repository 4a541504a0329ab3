package flight

import (
	"bytes"
	"encoding/json"
	"fmt"
)

// Difference is an event that two runs over the same frames do not have alike; nil
// where one of them has none.
type Difference struct{ Was, Is *Event }

// Compare holds the events of two runs against each other, by their ids: equal are
// those that are written alike, byte for byte. same says that all are, in the same
// order.
func Compare(was, is []Event) (differ []Difference, equal int, same bool, err error) {
	type written struct {
		event *Event
		text  []byte
	}
	write := func(events []Event) ([]written, error) {
		out := make([]written, len(events))
		for i := range events {
			text, err := json.Marshal(events[i])
			if err != nil {
				return nil, fmt.Errorf("write event %s: %w", events[i].ID, err)
			}
			out[i] = written{&events[i], text}
		}
		return out, nil
	}
	before, err := write(was)
	if err != nil {
		return nil, 0, false, err
	}
	after, err := write(is)
	if err != nil {
		return nil, 0, false, err
	}
	same = len(before) == len(after)
	left := map[string]written{}
	for _, e := range after {
		left[e.event.ID] = e
	}
	for i, e := range before {
		same = same && bytes.Equal(e.text, after[i].text)
		n := left[e.event.ID]
		delete(left, e.event.ID)
		if bytes.Equal(e.text, n.text) {
			equal++
		} else {
			differ = append(differ, Difference{e.event, n.event})
		}
	}
	for _, e := range after {
		if _, alone := left[e.event.ID]; alone {
			differ = append(differ, Difference{Is: e.event})
		}
	}
	return differ, equal, same, nil
}
