package snapshot_test

import (
	"bytes"
	"fmt"

	"padlark/storage/snapshot"
)

// Two pointers to the same value still are, after it was kept and read.
func ExampleWrite() {
	type mast struct{ HeightM float64 }
	type field struct{ North, South *mast }
	shared := &mast{HeightM: 6}
	var kept bytes.Buffer
	if err := snapshot.Write(&kept, &field{North: shared, South: shared}, snapshot.Known{}); err != nil {
		fmt.Println(err)
		return
	}
	var again field
	if err := snapshot.Read(&kept, kept.Len(), &again, snapshot.Known{}); err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(again.North.HeightM, again.North == again.South)
	// Output: 6 true
}
