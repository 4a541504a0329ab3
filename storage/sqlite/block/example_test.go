package block_test

import (
	"fmt"

	"padlark/storage/sqlite/block"
)

// Two samples packed as one block, and one column of them read.
func ExampleCodec() {
	codec, err := block.NewCodec()
	if err != nil {
		fmt.Println(err)
		return
	}
	data, err := codec.EncodeSamples(&block.Samples{N: []int64{1, 2}, Boot: []int64{0, 0}, Seq: []int64{10, 11}, Clock: []int64{-1, -1},
		At: []int64{0, 20e6}, Mono: []int64{1e6, 21e6}, Passed: []int64{1e6, 21e6},
		Channels: []block.Channel{{Name: "pressure_pa", Values: block.Values{V: []float64{98412.5, 98410}}}}})
	if err != nil {
		fmt.Println(err)
		return
	}
	view, err := codec.OpenSamples(data)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(view.Channel("pressure_pa", nil))
	view.Close()
	if err := codec.Close(); err != nil {
		fmt.Println(err)
	}
	// Output: [98412.5 98410] true
}
