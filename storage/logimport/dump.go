package logimport

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"padlark/ingest"
)

// dumpMost bounds what a board may send, which else could go on for ever.
const dumpMost = 1 << 30

// Dumped is a dump that was kept.
type Dumped struct {
	Path string // of the capture; "" if there is nothing in it
	ingest.DumpResult
}

// KeepDump asks a board for its log, through a layout, and keeps what comes as a
// capture at path, or in the folder dir under a name of its own if that is "".
// told hears how many bytes have come. What came is kept after an error too.
func KeepDump(ctx context.Context, d ingest.Dump, layout, rocket, path, dir string, told func(bytes int64)) (Dumped, error) {
	clock := ingest.StartClock()
	if path == "" {
		if err := os.MkdirAll(dir, 0o750); err != nil {
			return Dumped{}, fmt.Errorf("make the folder for the dump: %w", err)
		}
		path = filepath.Join(dir, "dump-"+LinkName(rocket)+"-"+clock.Epoch.Format("20060102-150405")+".plarkcap")
	}
	w, err := ingest.CreateCapture(path, ingest.CaptureInfo{
		Station: "import", Epoch: clock.Epoch,
		Links: []ingest.CaptureLink{{Name: d.Port.Name, Kind: dumpKind, Baud: d.Port.Baud, Layout: layout}},
	})
	if err != nil {
		return Dumped{}, err
	}
	bytes := int64(0)
	d.Most = dumpMost
	res, err := d.Run(ctx, clock, func(k ingest.Chunk) error {
		bytes += int64(len(k.Bytes))
		told(bytes)
		return w.WriteChunk(k)
	})
	err = errors.Join(err, w.Close())
	if err != nil && res.Bytes == 0 {
		_ = os.Remove(path) // there is nothing in it
		path = ""
	}
	return Dumped{path, res}, err
}
