package web

import (
	"context"
	"fmt"
	"io"
	"net/url"
	"strconv"
	"strings"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/ground"
	"padlark/ingest"
	"padlark/storage"
)

// Session is one run of the station as the archive knows it.
type Session struct {
	ID      string     `json:"id"`
	Station string     `json:"station"`
	Epoch   time.Time  `json:"epoch"`
	Ended   *time.Time `json:"ended_at"` // nil while it runs or when nobody ended it
	Last    *time.Time `json:"last_heard_at"`
	Live    bool       `json:"live"`
	// Counted says whether Frames, Lost, Bytes and Gaps are known: counting
	// reads the whole session and may still be under way.
	Counted bool     `json:"counted"`
	Frames  uint64   `json:"frames"`
	Lost    uint64   `json:"lost_frames"`
	Bytes   uint64   `json:"bytes"` // of the frames themselves
	Rockets []string `json:"rockets"`
	Links   []string `json:"links"`
	// Gaps are the times of 5 s or more in which no link heard anything.
	Gaps []Gap `json:"gaps"`
	// ShiftNs is how far the session's times were moved when somebody fixed the
	// clock; FixedBy says how ("" = never).
	ShiftNs int64  `json:"shift_ns"`
	FixedBy string `json:"time_fixed_by"`
	Version string `json:"version"`
}

// Gap is a silence: from the last frame before it to the first one after it.
type Gap struct {
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
}

// Archive reads what the station kept, with corrected times. Callbacks get values that
// they must not keep.
type Archive interface {
	// Sessions lists all, oldest first.
	Sessions(ctx context.Context) ([]Session, error)
	// Columns reads channels of one rocket, some thousands of samples at a time;
	// all channels if names is nil. One link comes after another.
	Columns(ctx context.Context, q storage.Query, names []string, each func(*storage.Columns) error) error
	// Samples gives those of one rocket after those of another.
	Samples(ctx context.Context, q storage.Query, each func(*decode.Sample) error) error
	Frames(ctx context.Context, q storage.Query, each func(ingest.Frame) error) error
	Events(ctx context.Context, q storage.Query) ([]flight.Event, error)
	// Alarms gives every change of alarms, in the order in which they came.
	Alarms(ctx context.Context, q storage.Query) ([]flight.Alarm, error)
}

// FlightID names one flight; as text it is session~rocket~number.
type FlightID struct {
	Session string
	Rocket  string
	Flight  int
}

// String is the form used in addresses; escape it before it goes into a URL.
func (id FlightID) String() string {
	return id.Session + "~" + id.Rocket + "~" + strconv.Itoa(id.Flight)
}

// Path is the flight's page.
func (id FlightID) Path() string { return "/flights/" + url.PathEscape(id.String()) }

// parseFlightID reads the form that String writes.
func parseFlightID(s string) (FlightID, error) {
	first, last := strings.Index(s, "~"), strings.LastIndex(s, "~")
	if first <= 0 || last <= first+1 {
		return FlightID{}, fmt.Errorf("read flight name %q: want session~rocket~number", s)
	}
	n, err := strconv.Atoi(s[last+1:])
	if err != nil || n < 1 {
		return FlightID{}, fmt.Errorf("read flight name %q: the part after the last ~ must be a number from 1", s)
	}
	return FlightID{Session: s[:first], Rocket: s[first+1 : last], Flight: n}, nil
}

// Course is a flight as a function of the time since liftoff: T in s, heights
// in m above the pad, speeds in m/s (up positive), accelerations in m/s² of the
// motion. Slices are as long as T or nil where nothing is known; SD are
// standard deviations. NaN marks a single unknown value.
type Course struct {
	T         []float64
	RawM      []float64 // each reading by itself, before smoothing
	HeightM   []float64
	HeightSD  []float64
	SpeedMps  []float64
	SpeedSD   []float64
	AccelMps2 []float64
	AccelSD   []float64
}

// Flights gives the analysed flights. Implementations cache: a page asks often.
type Flights interface {
	// Flights lists the flights of one session, or of all when session is "".
	Flights(ctx context.Context, session string) ([]flight.Result, error)
	// Listed lists void ones too, and soon: of those that are not worked out yet it
	// gives what is known, and the reason results.Waiting.
	Listed(ctx context.Context, session string) ([]flight.Result, error)
	// Flight is one flight, void or not; ErrNotFound where there is none.
	Flight(ctx context.Context, id FlightID) (flight.Result, error)
	// Course is the smoothed flight; ErrNotFound where there is none.
	Course(ctx context.Context, id FlightID) (*Course, error)
	// Expected is what the model says for the rocket as configured, or nil
	// where the configuration does not say enough.
	Expected(ctx context.Context, id FlightID) (*Course, error)
	// Track is the path over the ground, empty where no fix was heard.
	Track(ctx context.Context, id FlightID) (ground.Track, error)
}

// Exporter writes a flight's samples in a file format: "csv" or "parquet".
type Exporter interface {
	Export(ctx context.Context, w io.Writer, id FlightID, format string) error
}

// Checkups tells of bench checks. May be nil.
type Checkups interface {
	// LastCheckup is when a rocket was last checked and the verdict; ok is
	// false if it never was.
	LastCheckup(ctx context.Context, rocket string) (at time.Time, verdict string, ok bool, err error)
}

// Notes keeps the notes.
type Notes interface {
	// Notes lists those of a session, oldest first.
	Notes(ctx context.Context, session string) ([]storage.Note, error)
	AddNote(ctx context.Context, n storage.Note) (storage.Note, error)
}

// Message is one thing that the bus carries; exactly one field is set. The
// receiver may keep what it points to and must not write to it.
type Message struct {
	State  *flight.State
	Event  *flight.Event
	Alarm  *flight.Alarm
	Health *ingest.Health
	Frame  *ingest.Frame
	Sample *decode.Sample
}

// Live is the stream of what happens now. Watch calls f from one goroutine of
// its own until stop returns; it may drop states when f is slow, never alarms.
type Live interface {
	Watch(f func(Message)) (stop func(), err error)
}

// Acker acknowledges an alarm on behalf of a person. The change comes back as
// an alarm message on Live.
type Acker interface {
	Ack(ctx context.Context, session, alarm string) error
}

// ClockStatus is what the station knows of its own clock.
type ClockStatus struct {
	Now     time.Time `json:"now"`     // session time, the one written to the archive
	Trusted bool      `json:"trusted"` // the system clock is synchronised or somebody fixed it
	How     string    `json:"how"`     // by what, in words
	ShiftNs int64     `json:"shift_ns"`
	Session string    `json:"session"`
}

// Clock tells and mends the station's time.
type Clock interface {
	ClockStatus(ctx context.Context) (ClockStatus, error)
	// FixClock says that session time `session` was `truth`, give or take sd.
	FixClock(ctx context.Context, session, truth time.Time, sd time.Duration, how string) error
}
