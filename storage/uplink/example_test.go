package uplink_test

import (
	"fmt"

	"padlark/storage/uplink"
)

// An uplink needs a server's address: without one it is told before anything is sent.
func ExampleNew() {
	_, err := uplink.New(uplink.Options{})
	fmt.Println(err)
	// Output: open bus: "" is not an address like nats://host:4222
}
