package model_test

import (
	"fmt"
	"strings"

	"padlark/flight/model"
)

// A thrust curve's impulse by the trapezium rule, in N s.
func ExampleReadThrust() {
	curve, err := model.ReadThrust(strings.NewReader("s,N\n0,0\n0.1,12\n0.5,4\n0.6,0\n"))
	if err != nil {
		fmt.Println(err)
		return
	}
	impulse := 0.0
	for i := range curve[1:] {
		a, b := curve[i], curve[i+1]
		impulse += (b.T - a.T) * (a.N + b.N) / 2
	}
	fmt.Printf("%.1f N s\n", impulse)
	// Output: 4.0 N s
}
