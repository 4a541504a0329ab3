package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/pelletier/go-toml/v2"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/watch"
)

// anyLayouts are the user's layouts of these tests: wide floats, and every field
// that the pages know, without a checksum.
const anyLayouts = `
[[layout]]
name = "wide"
framing = "datagram"
form = "binary"
fields = [
  { name = "rocket", type = "u8" }, { name = "seq", type = "u8" }, { name = "clock", type = "u32", unit = "ms" },
  { name = "pressure_pa", type = "f64" }, { name = "temperature_c", type = "f64" }, { name = "cell_v", type = "f32" },
  { name = "latitude_deg", type = "f64" }, { name = "longitude_deg", type = "f64" }, { name = "release_us", type = "f32" },
  { name = "rssi_dbm", type = "f32" }, { name = "altitude_m", type = "f64" }, { name = "accel_mps2", type = "f32" },
]
[[layout]]
name = "words"
framing = "line"
form = "delimited"
more = true
fields = [ { name = "rocket" }, { name = "clock", unit = "s" }, { name = "altitude_m", unit = "ft" }, { name = "velocity_mps", unit = "km/h" }, { name = "armed" } ]
`

// anyStation is what a frame goes through on its way to a page, without the
// sockets and the archive.
type anyStation struct {
	v       *invented
	server  *Server
	decoder *decode.Decoder
	engine  *watch.Engine
	passed  int64
	n       uint64
	samples int
}

func anyLinks() []string { return []string{"lark-text", "lark-bin", "wide", "words"} }

func newAnyStation(tb testing.TB) *anyStation {
	tb.Helper()
	var doc struct {
		Layout []decode.Layout `toml:"layout"`
	}
	if err := toml.Unmarshal([]byte(anyLayouts), &doc); err != nil {
		tb.Fatal(err)
	}
	cfg := decode.Config{Layouts: doc.Layout}
	for _, name := range anyLinks() {
		cfg.Links = append(cfg.Links, decode.LinkLayouts{Link: name, Layouts: []string{name}})
	}
	for _, r := range inventedRockets() {
		cfg.Rockets = append(cfg.Rockets, decode.RocketID{Name: r.Name, ID: r.ID})
	}
	a := &anyStation{v: newInvented()}
	var err error
	if a.decoder, err = decode.New(cfg); err != nil {
		tb.Fatal(err)
	}
	if a.engine, err = watch.NewEngine(watch.Config{Session: "any", Epoch: inventedEpoch, Rockets: inventedRockets(),
		Site: flight.Site{FieldRadiusM: 150}}); err != nil {
		tb.Fatal(err)
	}
	if a.server, err = New(a.v.options()); err != nil {
		tb.Fatal(err)
	}
	stop, err := a.server.Watch(tb.Context())
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(stop)
	return a
}

// hear takes a frame to the pages as a station does.
func (a *anyStation) hear(link string, b []byte, after time.Duration) {
	a.n++
	a.passed += int64(after) + 1
	heard := inventedEpoch.Add(time.Duration(a.passed))
	f := ingest.Frame{Session: "any", Link: link, N: a.n, Heard: heard, Mono: a.passed, Passed: a.passed, Bytes: b}
	a.v.publish(Message{Frame: &f})
	s, err := a.decoder.Decode(f)
	if err != nil {
		return
	}
	a.samples++
	a.v.publish(Message{Sample: &s})
	out := a.engine.Sample(&s)
	for i := range out.Events {
		a.v.publish(Message{Event: &out.Events[i]})
	}
	for i := range out.Alarms {
		a.v.publish(Message{Alarm: &out.Alarms[i]})
	}
	if st, ok := a.engine.State(s.Rocket); ok {
		// As the bus would carry it: what it cannot write never comes.
		if _, err := json.Marshal(st); err != nil {
			panic(fmt.Sprintf("the state of %s cannot be sent: %v: %+v", s.Rocket, err, st))
		}
		c := st
		a.v.publish(Message{State: &c})
	}
}

// check asks every page and answer that shows the present.
func (a *anyStation) check(tb testing.TB) {
	tb.Helper()
	paths := []string{"/", "/links", "/alarms", "/metrics", "/healthz", "/api/v1/rockets", "/api/v1/alarms", "/api/v1/links"}
	for _, link := range anyLinks() {
		paths = append(paths, "/api/v1/links/"+link+"/frames")
	}
	for _, path := range paths {
		r := httptest.NewRequest(http.MethodGet, "http://127.0.0.1:9700"+path, nil)
		w := httptest.NewRecorder()
		a.server.Handler().ServeHTTP(w, r)
		body := w.Body.Bytes()
		if strings.HasSuffix(path, "/frames") && w.Code == http.StatusNotFound {
			continue // nothing came on that link
		}
		if w.Code != http.StatusOK || strings.HasPrefix(path, "/api/") && !json.Valid(body) {
			tb.Fatalf("%s: status %d: %.300s", path, w.Code, body)
		}
		// The token is 43 letters at random, NaN among them now and then.
		body = regexp.MustCompile(`name="padlark-token" content="[^"]*"`).ReplaceAll(body, nil)
		if at := regexp.MustCompile(`NaN|[+-]Inf\b`).FindIndex(body); at != nil && path != "/metrics" {
			tb.Fatalf("%s shows a number that is none: …%s…", path, body[max(0, at[0]-300):min(len(body), at[1]+100)])
		}
	}
	p := a.server.hub.since(0)
	u := updateView{Now: inventedEpoch, States: p.states, Alarms: p.alarms, Events: p.events, Links: p.links}
	if line := u.appendJSON(nil); !json.Valid(line) || bytes.Contains(line, []byte("null,null")) && len(p.states) == 0 {
		tb.Fatalf("the live stream says %s", line)
	}
	for _, list := range [][]json.RawMessage{p.states, p.alarms, p.events} {
		for _, raw := range list {
			if raw[0] != '{' {
				tb.Fatalf("a viewer gets %s", raw)
			}
		}
	}
	if _, tally, _ := a.server.hub.status(); tally.Unshown > 0 {
		tb.Fatalf("%d parts of the picture could not be written", tally.Unshown)
	}
}

// sealed is a line with its checksum put right, so that what is changed inside
// is read and not thrown away.
func sealed(line []byte) []byte {
	star := bytes.LastIndexByte(line, '*')
	if len(line) < 2 || line[0] != '$' || star < 1 {
		return line
	}
	var sum byte
	for _, c := range line[1:star] {
		sum ^= c
	}
	return fmt.Appendf(bytes.Clone(line[:star]), "*%02X", sum)
}

// FuzzAnyFrame: whatever comes on a link, every page and answer is valid.
// The input is a list of frames: a byte for the link, one for the time since the
// one before, one for the length, and as many bytes.
func FuzzAnyFrame(f *testing.F) {
	for link, text := range map[byte]string{0: "$PLRK,100,1,1,1000,1e308,1850,4000,1000,0*4F", 3: "7,1,1e300,-1e308,1,x"} {
		f.Add(append([]byte{link, 10, byte(len(text))}, text...))
	}
	wide := []byte{2, 1, 62}
	for range 62 {
		wide = append(wide, 0x7f)
	}
	f.Add(wide)
	f.Fuzz(func(t *testing.T, in []byte) {
		a := newAnyStation(t)
		for len(in) >= 3 {
			link, gap, n := anyLinks()[in[0]%4], time.Duration(in[1])*time.Millisecond, min(int(in[2]), len(in)-3)
			frame := bytes.Clone(in[3 : 3+n])
			if link == "lark-text" && n%2 == 0 {
				frame = sealed(frame)
			}
			a.hear(link, frame, gap)
			in = in[3+n:]
		}
		a.check(t)
	})
}

// odd are numbers that break what is not made for them.
var odd = []string{"1e308", "-1e308", "1.7976931348623157e308", "1e-320", "nan", "-0", "0", "4294967295", "4294967296", "-1",
	"9007199254740993", "1e15", "99999999999999999999", "", "1e1", "1e400", "65535", "-273.16", "100000000"}

// TestAnyFrame sends random and mutated frames. PADLARK_FRAMES says how many;
// ten million take some minutes, and memory must stay flat.
func TestAnyFrame(t *testing.T) {
	frames := 20_000
	if text := os.Getenv("PADLARK_FRAMES"); text != "" {
		var err error
		if frames, err = strconv.Atoi(text); err != nil || frames < 1 {
			t.Fatalf("PADLARK_FRAMES is %q: give a number of frames", text)
		}
	}
	a := newAnyStation(t)
	rng := rand.New(rand.NewPCG(18, 1))
	each := max(frames/20, 1)
	var early, late uint64
	for i := range frames {
		link, b := anyFrame(rng, i)
		a.hear(link, b, time.Duration(rng.IntN(3000))*time.Microsecond)
		if (i+1)%each == 0 {
			a.check(t)
			switch now := inUse(); {
			case i < frames/4:
				early = max(early, now)
			default:
				late = max(late, now)
			}
		}
	}
	t.Logf("%d frames, %d samples; in use %.1f MB in the first quarter, %.1f MB at most after it", frames, a.samples, float64(early)/1e6, float64(late)/1e6)
	if a.samples < frames/20 {
		t.Errorf("only %d of %d frames were read: this tries little", a.samples, frames)
	}
	if late > early+early/4+8e6 {
		t.Errorf("memory in use rose from %d to %d bytes", early, late)
	}
}

// inUse is how many bytes the heap holds after a collection.
func inUse() uint64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// anyFrame draws one frame: noise, or a right one with something in it changed.
func anyFrame(rng *rand.Rand, i int) (link string, b []byte) {
	link = anyLinks()[rng.IntN(4)]
	noise := func(n int) []byte {
		out := make([]byte, n)
		for k := range out {
			out[k] = byte(rng.Uint32())
		}
		return out
	}
	switch link {
	case "lark-text":
		id := strconv.Itoa(rng.IntN(400))
		if rng.IntN(10) == 0 {
			id = strconv.FormatUint(uint64(rng.Uint32()), 10)
		}
		parts := []string{"$PLRK", id, "1", strconv.Itoa(i % 65536), strconv.Itoa(i * 2), strconv.Itoa(60000 + rng.IntN(60000)),
			strconv.Itoa(rng.IntN(8000)), strconv.Itoa(rng.IntN(5000)), strconv.Itoa(rng.IntN(3000)), strconv.Itoa(rng.IntN(4))}
		for range rng.IntN(3) {
			parts[1+rng.IntN(9)] = odd[rng.IntN(len(odd))]
		}
		b = sealed([]byte(strings.Join(parts, ",") + "*00"))
	case "words":
		parts := []string{strconv.Itoa(rng.IntN(400)), strconv.Itoa(i / 400), odd[rng.IntN(len(odd))], odd[rng.IntN(len(odd))], "1"}
		b = []byte(strings.Join(parts, ","))
	case "wide":
		b = noise(62)
		if rng.IntN(2) == 0 {
			// Right in the main, so that rockets fly on nonsense.
			b = append([]byte{byte(rng.IntN(256)), byte(i)}, byte(i), byte(i>>8), byte(i>>16), 0)
			for range 12 {
				b = le64(b, rng)
			}
			b = b[:min(len(b), 62)]
		}
	default:
		b = noise(22)
	}
	if rng.IntN(20) == 0 && len(b) > 0 {
		b[rng.IntN(len(b))] ^= 1 << rng.IntN(8)
	}
	if rng.IntN(50) == 0 {
		b = b[:rng.IntN(len(b)+1)]
	}
	return link, b
}

// le64 adds a float that is large, small or nothing.
func le64(b []byte, rng *rand.Rand) []byte {
	v := math.Float64bits(math.Ldexp(rng.NormFloat64(), rng.IntN(2000)-1000))
	for k := range 8 {
		b = append(b, byte(v>>(8*k)))
	}
	return b
}
