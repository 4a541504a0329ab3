package bus

import "github.com/nats-io/nats.go/jetstream"

// CollectedStream is the name of the stream that gathers several stations'.
const CollectedStream = "PADLARK-ALL"

// Source is one station whose stream is gathered.
type Source struct {
	Station string
	// Leaf says that the station runs its own server, joined as a leaf node, with
	// its stream there (JetStream domain of the station's name). It goes on while
	// it is cut off, and what it kept follows when it is back. Otherwise its
	// stream is on the cluster itself.
	Leaf bool
}

// sources are the streams to gather. The server reads each in its order, from
// where it stopped, each message once.
func (o Options) sources() []*jetstream.StreamSource {
	var out []*jetstream.StreamSource
	for _, s := range o.Collect {
		if s.Leaf {
			out = append(out, &jetstream.StreamSource{Name: DefaultStream, Domain: Token(s.Station)})
			continue
		}
		out = append(out, &jetstream.StreamSource{Name: DefaultStream + "-" + Token(s.Station)})
	}
	return out
}

// filters are the subjects of the kinds: this station's, or every station's.
func (o Options) filters(kinds []Kind) []string {
	if len(o.Collect) == 0 {
		return filters(o.Station, kinds)
	}
	out := make([]string, len(kinds))
	for i, k := range kinds {
		out[i] = subjectRoot + ".*." + string(k)
		if k != Ticks {
			out[i] += ".*"
		}
	}
	return out
}

// Sender is the station that sent a message, in the form of its subject.
func (m Msg) Sender() string { return stationOf(m.Subject) }
