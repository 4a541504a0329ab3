package sounder_test

import (
	"bytes"
	"context"
	"fmt"

	"padlark/cmd/padlark/sounder"
	"padlark/decode"
	hear "padlark/ingest/beeps"
)

// A quiet recording of a second: nothing beeped in it.
func ExampleListenWAV() {
	wav := hear.WriteWAV(make([]float64, 8000), 8000)
	rec, err := sounder.ListenWAV(context.Background(), bytes.NewReader(wav), decode.Layout{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(rec.Length, len(rec.Tones))
	// Output: 1s 0
}
