package web_test

import (
	"fmt"

	"padlark/web"
)

// Where pages may be served without a passphrase.
func ExampleLoopback() {
	for _, listen := range []string{web.DefaultListen, "[::1]:9700", ":9700"} {
		fmt.Println(listen, web.Loopback(listen))
	}
	// Output:
	// 127.0.0.1:9700 true
	// [::1]:9700 true
	// :9700 false
}
