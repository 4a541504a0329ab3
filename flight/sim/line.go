package sim

import (
	"container/heap"
	"math"
	"math/rand/v2"

	"padlark/ingest"
)

// line is a link at work: it takes whole framed messages at the moment they
// are sent and gives the chunks that a reader gets.
type line struct {
	cfg *Link
	rng *rand.Rand
	bad bool // in a loss

	// Of a serial line.
	free    float64 // when it has sent all before, s since the epoch
	pending []byte  // bytes that no read has fetched yet
	lastAt  float64 // when the last of them arrived
	want    int     // bytes that the present read waits for
	noise   float64 // when the next garbage comes
}

func newLine(cfg *Link, seed uint64, index int) *line {
	l := &line{cfg: cfg, rng: rand.New(rand.NewPCG(seed, 0x6c696e65<<8+uint64(index)))}
	l.bad = l.rng.Float64() < cfg.Loss
	l.noise = l.untilNoise()
	l.newRead()
	return l
}

func (l *line) untilNoise() float64 {
	if l.cfg.GarbagePerMin <= 0 {
		return math.Inf(1)
	}
	return l.rng.ExpFloat64() * 60 / l.cfg.GarbagePerMin
}

// newRead draws how many bytes the next read fetches.
func (l *line) newRead() {
	mean := l.cfg.ReadBytes
	if mean < 1 {
		mean = 16
	}
	l.want = 1 + int(l.rng.ExpFloat64()*(mean-1)+0.5)
}

// lost moves the two-state chain of losses on by one frame.
func (l *line) lost() bool {
	u := l.rng.Float64()
	toGood := 1 / max(1, l.cfg.Burst)
	if l.bad {
		l.bad = u >= toGood
	} else {
		l.bad = l.cfg.Loss > 0 && u < min(1, l.cfg.Loss*toGood/(1-l.cfg.Loss))
	}
	return l.bad
}

// send puts one framed message on the line at t, s since the epoch.
func (l *line) send(frame []byte, t float64, q *queue) {
	if l.lost() {
		return
	}
	frame = l.damage(frame)
	t += l.cfg.DelayS
	if l.cfg.Kind == kindUDP {
		t += 0.0005 * l.rng.ExpFloat64()
		heap.Push(q, ingest.Chunk{Link: l.cfg.Name, Heard: secs(t), Bytes: frame, Datagram: true, End: ingest.EndWhole})
		return
	}
	l.bytes(frame, t, q)
}

// garbage puts the noise on the line that comes before t.
func (l *line) garbage(t float64, q *queue) {
	for t > l.noise {
		junk := make([]byte, 1+l.rng.IntN(12))
		for i := range junk {
			junk[i] = byte(l.rng.Uint32())
		}
		l.bytes(junk, l.noise, q)
		l.noise += l.untilNoise()
	}
}

// damage is a copy with flipped bits.
func (l *line) damage(frame []byte) []byte {
	out := append([]byte(nil), frame...)
	if l.cfg.BitErrors <= 0 {
		return out
	}
	// The distance to the next flipped bit is geometric.
	for i := l.untilError(); i < 8*len(out); i += 1 + l.untilError() {
		out[i/8] ^= 1 << (i % 8)
	}
	return out
}

func (l *line) untilError() int {
	d := l.rng.ExpFloat64() / -math.Log1p(-l.cfg.BitErrors)
	return int(min(d, 1<<30))
}

// idleS is how long a pause on the line may be, in s, for one read to fetch
// bytes from both sides of it.
const idleS = 0.0015

// bytes sends at the line's rate, ten bits a byte, and cuts what arrives into
// reads of any size. What is left stays for the next read, which settle ends.
func (l *line) bytes(b []byte, t float64, q *queue) {
	per := 10 / float64(l.cfg.Baud)
	l.settle(max(t, l.free)+per, q)
	at := max(t, l.free)
	for i := range b {
		at += per
		l.pending = append(l.pending, b[i])
		l.lastAt = at
		if len(l.pending) >= l.want {
			l.read(q)
		}
	}
	l.free = at
}

// settle ends the present read if nothing more has come by t.
func (l *line) settle(t float64, q *queue) {
	if len(l.pending) > 0 && t > l.lastAt+idleS {
		l.read(q)
	}
}

// holds is when the oldest read that is still open can be heard at the
// earliest; +Inf if none is open.
func (l *line) holds() float64 {
	if len(l.pending) == 0 {
		return math.Inf(1)
	}
	return l.lastAt
}

// read hands over what has arrived.
func (l *line) read(q *queue) {
	heap.Push(q, ingest.Chunk{Link: l.cfg.Name, Heard: secs(l.lastAt), Bytes: l.pending, Baud: l.cfg.Baud})
	l.pending = nil
	l.newRead()
}
