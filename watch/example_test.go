package watch_test

import (
	"fmt"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/watch"
)

// A frame becomes a sample, or a reject that says why not. The checksum is that of
// IEC 61162-1: the exclusive or of what is between $ and *, which is 0 here.
func ExampleLine() {
	id, epoch := uint32(3), time.Date(2026, 5, 2, 10, 0, 0, 0, time.UTC)
	line, err := watch.NewLine(
		decode.Config{
			Rockets: []decode.RocketID{{ID: &id, Name: "Wren"}},
			Links:   []decode.LinkLayouts{{Link: "radio", Layouts: []string{"lark-text"}}},
		},
		watch.Config{Session: "s", Epoch: epoch, Rockets: []flight.Rocket{{Name: "Wren", ID: &id}}})
	if err != nil {
		fmt.Println(err)
		return
	}
	for i, sum := range []string{"00", "7F"} {
		heard := time.Duration(i+1) * time.Second
		frame := ingest.Frame{Session: "s", Link: "radio", N: uint64(i + 1), Heard: epoch.Add(heard), Passed: heard.Nanoseconds(),
			Bytes: []byte("$PLRK,3,1,0,12000,101325.0,1500,4100,1000,2*" + sum)}
		reject := line.Frame(&frame, func(s decode.Sample, _ watch.Output) {
			pa, _ := s.Values.Get(decode.PressurePa)
			fmt.Printf("%s: %.0f Pa\n", s.Rocket, pa)
		})
		if reject != nil {
			fmt.Println("rejected:", reject.Reason)
		}
	}
	// Output:
	// Wren: 101325 Pa
	// rejected: checksum
}
