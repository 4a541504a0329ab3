package document_test

import (
	"fmt"

	"padlark/decode/document"
)

// Two values of a message, by JSON Pointers (RFC 6901).
func ExamplePicker() {
	picker, err := document.NewPicker([]string{"/baro/pa", "/id"})
	if err != nil {
		fmt.Println(err)
		return
	}
	var out document.Picked
	if err := picker.JSON([]byte(`{"id": "7", "baro": {"pa": 98412.5, "c": 21}}`), &out); err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%s %s\n", out.Values[0].Text, out.Values[1].Text)
	// Output: 98412.5 7
}
