package predict_test

import (
	"fmt"

	"padlark/flight/predict"
)

// What a range of launch pressures stands for.
func ExampleReadOver() {
	over, err := predict.ReadOver("pressure=2:5")
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(over.Key, over.Unit, "from", over.Values[0], "to", over.Values[len(over.Values)-1])
	// Output: pressure bar from 2 to 5
}
