package wire

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"testing"
	"time"

	"padlark/bus"
	"padlark/decode"
	"padlark/flight"
	"padlark/storage/results"
	"padlark/storage/sqlite"
	"padlark/web"
)

// BenchmarkSessionPlot answers one channel of a session at 50 Hz out of a real
// archive: cold reads every row, warm has them in memory. The session is one
// hour long, so that filling it does not take for ever; ns/row tells the rest.
func BenchmarkSessionPlot(b *testing.B) {
	const rows = 3600 * 50
	a, err := sqlite.Open(filepath.Join(b.TempDir(), "padlark.db"), sqlite.Options{NoSync: true})
	if err != nil {
		b.Fatal(err)
	}
	defer a.Close()
	if err := a.StartSession(b.Context(), sqlite.Session{ID: session, Station: "north-field", Epoch: epoch, Rockets: []flight.Rocket{{Name: "Teal"}}, Links: []string{"pad-radio"}}); err != nil {
		b.Fatal(err)
	}
	var msgs []bus.Msg
	for i := range rows {
		at := epoch.Add(time.Duration(i) * 20 * time.Millisecond)
		data, err := json.Marshal(decode.Sample{Session: session, Link: "pad-radio", N: uint64(i + 1), Rocket: "Teal", Boot: 1, Seq: int64(i), Clock: int64(i) * 20000,
			At: at, Heard: at, Passed: at.Sub(epoch).Nanoseconds(), Values: decode.Channels{Names: []string{decode.PressurePa, decode.CellV}, Values: []float64{100800 + 40*math.Sin(float64(i)/90), 4}}})
		if err != nil {
			b.Fatal(err)
		}
		msgs = append(msgs, bus.Msg{Kind: bus.Sample, Subject: "padlark.north-field.sample.Teal", Seq: uint64(i + 1), Data: data})
		if len(msgs) == 20_000 || i == rows-1 {
			if err := a.Write(b.Context(), msgs); err != nil {
				b.Fatal(err)
			}
			msgs = msgs[:0]
		}
	}
	if err := a.EndSession(b.Context(), session, epoch.Add(time.Hour)); err != nil {
		b.Fatal(err)
	}
	archive := NewArchive(a, nil)
	ask := func(s *web.Server) {
		r := httptest.NewRequest(http.MethodGet, "/api/v1/sessions/"+session+"/samples?rocket=Teal&points=1600&channels=pressure_pa", nil)
		r.Host = "localhost"
		w := httptest.NewRecorder()
		s.Handler().ServeHTTP(w, r)
		if w.Code != http.StatusOK {
			b.Fatal(w.Body)
		}
	}
	open := func() *web.Server {
		s, err := web.New(web.Options{Archive: archive, Notes: archive, Live: quiet{}, Flights: Flights{Results: results.New(a), Archive: a}})
		if err != nil {
			b.Fatal(err)
		}
		return s
	}
	ask(open()) // counts the session once
	for _, warm := range []bool{false, true} {
		b.Run(fmt.Sprintf("warm=%v", warm), func(b *testing.B) {
			s := open()
			if warm {
				ask(s)
			}
			for b.Loop() {
				if !warm {
					s = open()
				}
				ask(s)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/rows, "ns/row")
		})
	}
}
