package wire

import (
	"fmt"
	"sync"

	"github.com/rs/zerolog"

	"padlark/bus"
	"padlark/decode"
	"padlark/web"
)

// Live fits a bus to web.Live.
type Live struct {
	Bus *bus.Bus
	Log zerolog.Logger
}

// Watch follows everything that a page may show. Frames and samples come by a
// subscription of their own: a flood of them may lose some, and no alarm.
func (l Live) Watch(f func(web.Message)) (stop func(), err error) {
	var one sync.Mutex // f is called from one goroutine at a time
	tell := func(m bus.Msg) {
		out, err := message(m)
		if err != nil {
			l.Log.Warn().Err(err).Msg("skip a message for the pages")
			return
		}
		one.Lock()
		defer one.Unlock()
		f(out)
	}
	stopNews, err := l.Bus.Subscribe([]bus.Kind{bus.State, bus.Event, bus.Alarm, bus.Health}, tell)
	if err != nil {
		return nil, err
	}
	stopFrames, err := l.Bus.Subscribe([]bus.Kind{bus.Frame, bus.Sample}, tell)
	if err != nil {
		stopNews()
		return nil, err
	}
	return func() { stopFrames(); stopNews() }, nil
}

// message reads one message of the bus.
func message(m bus.Msg) (out web.Message, err error) {
	switch m.Kind {
	case bus.State:
		out.State, err = pointer(m.State())
	case bus.Event:
		out.Event, err = pointer(m.Event())
	case bus.Alarm:
		out.Alarm, err = pointer(m.Alarm())
	case bus.Health:
		out.Health, err = pointer(m.Health())
	case bus.Frame:
		out.Frame, err = pointer(m.Frame())
	case bus.Sample:
		var s decode.Sample
		s, _, err = m.Sample()
		out.Sample = &s
	default:
		err = fmt.Errorf("read message: nobody asked for kind %s", m.Kind)
	}
	return out, err
}

func pointer[T any](v T, err error) (*T, error) { return &v, err }
