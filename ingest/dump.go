package ingest

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"time"

	"go.bug.st/serial"
)

// Dump says how a board hands over its own log through a serial port. Asking
// for it is the only thing that is ever written to a port: one request line,
// once.
type Dump struct {
	// Port has the path or USB identity and the line settings.
	Port LinkConfig
	// Request is sent once; nothing is sent if it is empty.
	Request []byte
	// End marks the end of the dump in its bytes; empty if there is no mark.
	End []byte
	// Settle is how long to wait between opening the port and the request:
	// many boards start anew when their port is opened.
	Settle time.Duration
	// Answer is how long the board may take to begin, Quiet how long a pause
	// ends the dump.
	Answer, Quiet time.Duration
	// Most is how many bytes are read at most.
	Most int64
}

// DumpResult says how a dump went.
type DumpResult struct {
	Path  string // of the port
	Bytes int64
	// Torn says in words why it is not whole; empty if it is.
	Torn string
}

// Run asks for the dump and passes on what comes, up to and with the end mark.
// The error is about a port that does not open or a board that does not answer;
// a dump that breaks off is no error but Torn.
func (d Dump) Run(ctx context.Context, clock Clock, out func(Chunk) error) (DumpResult, error) {
	env := Env{Clock: clock}
	if err := d.Port.Validate(); err != nil {
		return DumpResult{}, err
	}
	l := newSerialLink(d.Port, runner{name: d.Port.Name, env: env, baud: d.Port.Baud})
	path, err := l.find()
	if err != nil {
		return DumpResult{}, err
	}
	port, err := serial.Open(path, &l.mode)
	if err != nil {
		return DumpResult{Path: path}, explainSerial(path, err)
	}
	defer port.Close() //nolint:errcheck // what was written has been answered, or not
	if err := port.SetReadTimeout(serialPoll); err != nil {
		return DumpResult{Path: path}, fmt.Errorf("set the read timeout of %s: %w", path, err)
	}
	r := &dumping{Dump: d, port: port, clock: clock, out: out, res: DumpResult{Path: path}}
	r.opened = clock.Now()
	err = r.run(ctx)
	return r.res, err
}

// dumping is one dump under way.
type dumping struct {
	Dump
	port   serial.Port
	clock  Clock
	out    func(Chunk) error
	res    DumpResult
	opened time.Duration
	asked  bool
	since  time.Duration // when it was asked, or when the last byte came
	came   int64         // bytes since it was asked
	tail   []byte        // the last bytes, in which the end mark may begin
}

func (r *dumping) run(ctx context.Context) error {
	buf := make([]byte, 4096)
	for {
		if ctx.Err() != nil {
			r.res.Torn = "it was interrupted"
			return nil
		}
		if !r.asked && r.clock.Now()-r.opened >= r.Settle {
			if err := r.ask(); err != nil {
				return err
			}
		}
		n, err := r.port.Read(buf)
		now := r.clock.Now()
		if n > 0 {
			done, err := r.take(buf[:n], now)
			if err != nil || done {
				return err
			}
		}
		if err != nil {
			if r.came == 0 {
				return fmt.Errorf("%s went away before it answered: plug the board in again, and import once more", r.res.Path)
			}
			r.res.Torn = r.res.Path + " went away in the middle"
			return nil
		}
		if over, err := r.over(now); over || err != nil {
			return err
		}
	}
}

// ask sends the request. Nothing else is ever written.
func (r *dumping) ask() error {
	r.asked, r.since = true, r.clock.Now()
	for b := r.Request; len(b) > 0; {
		n, err := r.port.Write(b)
		if err == nil && n == 0 {
			err = io.ErrShortWrite
		}
		if err != nil {
			return fmt.Errorf("send the request to %s: %w; plug the board in again, and import once more", r.res.Path, err)
		}
		b = b[n:]
	}
	return nil
}

// take passes bytes on; done says that the end mark is in them, or that there
// are too many.
func (r *dumping) take(b []byte, now time.Duration) (done bool, err error) {
	if r.asked {
		r.since = now
		b, done = r.upToEnd(b)
		r.came += int64(len(b))
	}
	r.res.Bytes += int64(len(b))
	if r.Most > 0 && r.res.Bytes > r.Most {
		done, r.res.Torn = true, fmt.Sprintf("it has more than %d MB", r.Most>>20)
	}
	return done, r.out(Chunk{Link: r.Port.Name, Heard: now, Bytes: b, Baud: r.Port.Baud})
}

// upToEnd cuts b after the end mark, which may have begun in the bytes before.
func (r *dumping) upToEnd(b []byte) ([]byte, bool) {
	if len(r.End) == 0 {
		return b, false
	}
	was := len(r.tail)
	r.tail = append(r.tail, b...)
	if i := bytes.Index(r.tail, r.End); i >= 0 {
		return b[:max(0, i+len(r.End)-was)], true
	}
	r.tail = append(r.tail[:0], r.tail[max(0, len(r.tail)-len(r.End)+1):]...)
	return b, false
}

// over says whether a pause ends the dump.
func (r *dumping) over(now time.Duration) (bool, error) {
	switch still := now - r.since; {
	case !r.asked:
		return false, nil
	case r.came == 0 && still > r.Answer:
		asked := "to the request"
		if len(r.Request) == 0 {
			asked = "(nothing was asked, for the layout has no request)"
		}
		return true, fmt.Errorf("%s: no answer %s within %g s: see that the board is on, that it runs at %d baud too, "+
			"and that its firmware knows the request of [layout.dump]", r.res.Path, asked, r.Answer.Seconds(), r.Port.Baud)
	case r.came > 0 && still > r.Quiet:
		if len(r.End) > 0 {
			r.res.Torn = fmt.Sprintf("nothing came for %g s, and the end mark %q had not come", r.Quiet.Seconds(), r.End)
		}
		return true, nil
	}
	return false, nil
}
