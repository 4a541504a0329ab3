package ingest

import (
	"padlark/ingest/beeps"
)

// reasonSound counts bytes that are no sound that can be listened to.
const reasonSound = "not sound"

// SoundFormat is how the samples of a link are written unless a WAV header says it.
func (f Framing) SoundFormat() beeps.Format {
	s := beeps.Format{Rate: f.Rate, Channels: f.Channels, Bits: f.Bits}
	if s.Rate == 0 {
		s.Rate = 48000
	}
	if s.Channels == 0 {
		s.Channels = 1
	}
	if s.Bits == 0 {
		s.Bits = 16
	}
	return s
}

// soundMachine listens to PCM: each message is the strip of one tone.
type soundMachine struct {
	format   beeps.Format
	pcm      *beeps.PCM
	listener *beeps.Listener // nil until the rate is known
	bad      bool            // the stream is no sound: it is told once
	strip    []byte
}

func newSoundMachine(f Framing) (*soundMachine, error) {
	m := &soundMachine{format: f.SoundFormat()}
	return m, m.restart()
}

func (m *soundMachine) restart() (err error) {
	m.listener, m.bad = nil, false
	m.pcm, err = beeps.NewPCM(m.format)
	return err
}

func (m *soundMachine) push(b []byte, pos int64, s Sink) error {
	if m.bad {
		return nil
	}
	samples, err := m.pcm.Push(b)
	if err == nil && m.listener == nil && len(samples) > 0 {
		m.listener, err = beeps.NewListener(m.pcm.Format().Rate)
	}
	if err != nil {
		m.bad = true
		s.Reject(Reject{Reason: reasonSound, Bytes: b, Length: len(b), Offset: pos})
		return nil
	}
	if m.listener == nil {
		return nil
	}
	return m.give(m.listener.Push(samples), pos+int64(len(b)), s)
}

func (m *soundMachine) give(strips []beeps.Strip, pos int64, s Sink) error {
	for _, strip := range strips {
		m.strip = strip.AppendBinary(m.strip[:0])
		if err := s.Message(Message{Bytes: m.strip, Wire: len(m.strip), Offset: pos}); err != nil {
			return err
		}
	}
	return nil
}

// end gives what was heard last: a recording that stops after the beeps is whole.
func (m *soundMachine) end(_ bool, s Sink) error {
	if m.listener != nil {
		if err := m.give(m.listener.End(), 0, s); err != nil {
			return err
		}
	}
	return m.restart()
}

func (m *soundMachine) held() int {
	if m.listener == nil {
		return 0
	}
	return m.listener.Held()
}
