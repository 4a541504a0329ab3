package journal_test

import (
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"padlark/ingest"
	"padlark/storage/journal"
)

// A journal is written, left as it is, and read again from its start.
func ExampleCreate() {
	if err := writeAndRead(); err != nil {
		fmt.Println(err)
	}
	// Output:
	// radio frame 1: hello
	// ended after 2s
}

func writeAndRead() (err error) {
	dir, err := os.MkdirTemp("", "journal-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	j, err := journal.Create(dir, ingest.CaptureInfo{Station: "field", Session: "20260502-100000", Version: "example",
		Epoch: time.Date(2026, 5, 2, 10, 0, 0, 0, time.UTC), Links: []ingest.CaptureLink{{Name: "radio", Kind: "udp"}}})
	if err != nil {
		return err
	}
	written := j.Frames([]ingest.Frame{{Session: "20260502-100000", Link: "radio", N: 1, Passed: time.Second.Nanoseconds(), Bytes: []byte("hello")}})
	if err := errors.Join(j.Close(2*time.Second), j.Release()); err != nil || !written {
		return err
	}
	r, err := journal.Open(j.Path(), nil)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	for {
		e, err := r.Next()
		if errors.Is(err, io.EOF) {
			fmt.Println("ended after", r.Ended())
			return nil
		}
		if err != nil {
			return err
		}
		if e.Frame != nil {
			fmt.Printf("%s frame %d: %s\n", e.Frame.Link, e.Frame.N, e.Frame.Bytes)
		}
	}
}
