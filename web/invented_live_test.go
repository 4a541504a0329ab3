package web

import (
	"context"
	"encoding/json"
	"sort"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/watch"
)

func (v *invented) Watch(f func(Message)) (func(), error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.nextView++
	k := v.nextView
	v.viewers[k] = f
	return func() {
		v.mu.Lock()
		defer v.mu.Unlock()
		delete(v.viewers, k)
	}, nil
}

// publish hands a message to whoever watches.
func (v *invented) publish(m Message) {
	v.mu.Lock()
	var fs []func(Message)
	for _, f := range v.viewers {
		fs = append(fs, f)
	}
	v.mu.Unlock()
	for _, f := range fs {
		f(m)
	}
}

func (v *invented) Ack(_ context.Context, session, id string) error {
	v.mu.Lock()
	v.acked = append(v.acked, id)
	var changes []flight.Alarm
	if e := v.engines[session]; e != nil {
		changes = e.Ack(id, v.clock())
		v.alarms[session] = append(v.alarms[session], changes...)
	}
	v.mu.Unlock()
	for i := range changes {
		v.publish(Message{Alarm: &changes[i]})
	}
	return nil
}

// fly lets a session happen now: samples in real time (or a multiple of it)
// through the engine, with states each 100 ms, as a station does. What lies
// before `head` in the session happens at once. It returns when the samples are
// used up or ctx ends.
func (v *invented) fly(ctx context.Context, session string, epoch time.Time, head time.Duration, pace float64, hops ...hop) {
	all := mergeHops(session, epoch, hops)
	e := newEngine(session, epoch)
	v.mu.Lock()
	v.engines[session] = e
	s := Session{ID: session, Station: "north-field", Epoch: epoch, Live: true, Counted: true, Version: "test"}
	for _, h := range hops {
		s.Rockets, s.Links = append(s.Rockets, h.rocket), append(s.Links, h.link)
	}
	v.sessions = append(v.sessions, s)
	v.mu.Unlock()
	begin := time.Now().Add(-time.Duration(float64(head) / pace))
	v.mu.Lock()
	v.clock = func() time.Time { return epoch.Add(time.Duration(float64(time.Since(begin)) * pace)) }
	v.mu.Unlock()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	last := time.Duration(0)
	for len(all) > 0 {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		now := time.Duration(float64(time.Since(begin)) * pace)
		i := sort.Search(len(all), func(i int) bool { return all[i].Passed > int64(now) })
		v.step(e, session, all[:i], int64(now))
		all = all[i:]
		if now-last >= time.Duration(100*pace)*time.Millisecond {
			last = now
			v.publishStates(e)
		}
	}
	v.publishStates(e)
}

func (v *invented) step(e *watch.Engine, session string, samples []decode.Sample, now int64) {
	var out []Message
	v.mu.Lock()
	take := func(o watch.Output) {
		v.events[session] = append(v.events[session], o.Events...)
		v.alarms[session] = append(v.alarms[session], o.Alarms...)
		for i := range o.Events {
			out = append(out, Message{Event: &o.Events[i]})
		}
		for i := range o.Alarms {
			out = append(out, Message{Alarm: &o.Alarms[i]})
		}
	}
	for i := range samples {
		f := frameOf(&samples[i])
		out = append(out, Message{Frame: &f}, Message{Sample: &samples[i]})
		take(e.Sample(&samples[i]))
		v.samples[session] = append(v.samples[session], samples[i])
		heard := samples[i].Heard
		if sn := &v.sessions[len(v.sessions)-1]; sn.ID == session {
			sn.Frames, sn.Last = sn.Frames+1, &heard
		}
	}
	take(e.Advance(now))
	v.mu.Unlock()
	for _, m := range out {
		v.publish(m)
	}
}

func (v *invented) publishStates(e *watch.Engine) {
	v.mu.Lock()
	var states []*flight.State
	for _, name := range e.Rockets() {
		if st, ok := e.State(name); ok {
			// A copy with all that it points to, as by the bus: the engine goes on.
			whole := new(flight.State)
			if err := json.Unmarshal(encode(st), whole); err == nil {
				states = append(states, shortState(whole))
			}
			v.phases[name] = append(v.phases[name], st.Phase)
		}
	}
	v.mu.Unlock()
	for _, st := range states {
		v.publish(Message{State: st})
		now := time.Now()
		v.publish(Message{Health: &ingest.Health{Link: st.Link, Kind: "serial", At: now, State: ingest.StateUp, Words: "open at 9600 baud",
			Bytes: st.Frames * 40, Frames: st.Frames, Bad: map[string]uint64{"checksum": 2, "too short": 1}, Gaps: 3, RateHz: 20, LastHeard: &st.Heard,
			Rejected: []ingest.Rejected{{Reason: "checksum: counted 4A, the frame says 00", At: now.Add(-8 * time.Second), Length: 36, Bytes: ingest.HexBytes("$PLRK,7,1,811,40550,99870,2150*00")}}}})
	}
}
