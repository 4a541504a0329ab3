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
)

// Query chooses rows of one session. Empty fields do not choose.
type Query struct {
	Session string
	Rocket  string
	Link    string
	// From and To bound the measuring time (samples, events, alarms) or the
	// time of arrival (frames): From <= t < To. Zero means unbounded.
	From, To time.Time
	// FromPassed and ToPassed bound the order in which the sequencer let frames
	// through, in ns since the session's epoch: From <= p < To. ToPassed 0
	// means unbounded.
	FromPassed, ToPassed int64
	// Limit bounds the number of rows; 0 means no bound.
	Limit int
}

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

// Columns are samples of one rocket turned on their side.
type Columns struct {
	// Channels names what the samples have.
	Channels []string
	// At is when each was measured, UTC in ns since 1970; Passed is at least that
	// of the newest, in ns since the session's epoch.
	At     []int64
	Passed int64
	// Ahead is about how many samples are to come over this link, these
	// included.
	Ahead int
	// Values has a column for each channel that was asked for, or for each of
	// Channels if none was asked for by name; NaN is a missing value.
	Values [][]float64
}

// Archive reads what the station kept. Callbacks get values that they must not
// keep; rows come in the order of Passed.
type Archive interface {
	Sessions(ctx context.Context) ([]Session, error)
	// Columns reads channels of one rocket, some thousands of samples at a time;
	// all channels if names is nil. One link comes after another.
	Columns(ctx context.Context, q Query, names []string, each func(*Columns) error) error
	Samples(ctx context.Context, q Query, each func(*decode.Sample) error) error
	Frames(ctx context.Context, q Query, each func(*ingest.Frame) error) error
	Events(ctx context.Context, q Query) ([]flight.Event, error)
	// Alarms gives every change of alarms, in the order in which they came.
	Alarms(ctx context.Context, q Query) ([]flight.Alarm, error)
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

// Note is what a person typed about a flight, or about a session (Flight 0).
type Note struct {
	ID      int64     `json:"id"`
	Session string    `json:"session"`
	Rocket  string    `json:"rocket"`
	Flight  int       `json:"flight"`
	At      time.Time `json:"at"`
	Text    string    `json:"text"`
}

// Checkups tells of bench checks. May be nil.
type Checkups interface {
	// LastCheckup is when a rocket was last checked and the verdict; ok is
	// false if it never was.
	LastCheckup(ctx context.Context, rocket string) (at time.Time, verdict string, ok bool, err error)
}

// Notes keeps the notes.
type Notes interface {
	Notes(ctx context.Context, id FlightID) ([]Note, error)
	AddNote(ctx context.Context, n Note) (Note, error)
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

// Machine computes the live picture from samples in event time: the same one
// that runs when the station is live. Not safe for concurrent use.
type Machine interface {
	// Sample takes the next sample, and before it every tick that was due.
	Sample(s *decode.Sample) ([]flight.Event, []flight.Alarm)
	// Advance brings event time to passed, in ns since the session's epoch.
	Advance(passed int64) ([]flight.Event, []flight.Alarm)
	// Rockets lists the rockets heard so far, State what is known of one.
	Rockets() []string
	State(rocket string) (flight.State, bool)
}
