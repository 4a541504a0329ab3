package batch_test

import (
	"fmt"
	"time"

	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/batch"
)

// A frame on its way to an outside server, and read there.
func ExampleRead() {
	info := ingest.CaptureInfo{Station: "field", Session: "20260502-100000", Version: "example",
		Epoch: time.Date(2026, 5, 2, 10, 0, 0, 0, time.UTC), Links: []ingest.CaptureLink{{Name: "radio", Kind: "udp"}}}
	frame := ingest.Frame{Session: info.Session, Link: "radio", N: 1, Heard: info.Epoch, Passed: time.Second.Nanoseconds(), Bytes: []byte("hello")}
	b := batch.Batch{Station: info.Station, Session: info.Session, From: 0, To: 64, Info: &info}
	b.Put(map[string]uint16{"radio": 0}, []storage.Entry{storage.NewEntry(64, &frame)})
	data, err := b.Encode()
	if err != nil {
		fmt.Println(err)
		return
	}
	came, err := batch.Read(data)
	if err != nil {
		fmt.Println(err)
		return
	}
	entries, err := came.Entries(came.Info)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, e := range entries {
		fmt.Printf("%s frame %d: %s\n", e.Frame.Link, e.Frame.N, e.Frame.Bytes)
	}
	// Output: radio frame 1: hello
}
