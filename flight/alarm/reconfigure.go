package alarm

import (
	"slices"

	"padlark/flight"
)

// Reconfigure gives the Book other rockets, thresholds or another site between two
// samples. What stands stays and is judged by the new ones from the next sample
// on; alarms of kinds that are off now are over. named finds the data of a rocket;
// known is false for one that nobody configured. With an error the Book is as it
// was. The slice is valid until the next call.
func (b *Book) Reconfigure(cfg Config, named func(name string) (r flight.Rocket, known bool)) ([]flight.Alarm, error) {
	n, err := New(cfg)
	if err != nil {
		return nil, err
	}
	b.alarms.begin()
	b.cfg, b.off, b.known = cfg, n.off, n.known
	b.guests = 0
	for _, e := range b.order {
		r, known := named(e.name)
		v := &e.view
		v.rocket, v.known, v.site = r, known, cfg.Site
		v.limits, v.supply = cfg.Thresholds.limitsFor(r.Kind), supplyOf(r.Cell)
		if !known {
			b.guests++
		}
		for _, s := range e.live {
			if b.off[s.kind] {
				b.alarms.settle(s, b.now)
			}
		}
	}
	for _, r := range cfg.Rockets {
		b.Watch(r)
	}
	return slices.Clone(b.alarms.out), nil
}
