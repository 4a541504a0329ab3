package manual_test

import (
	"fmt"
	"strings"
	"time"

	"padlark/cmd/padlark/manual"
)

// The page about one key, for man(1).
func ExampleKeysPage() {
	page := manual.KeysPage("padlark", []manual.Entry{{Table: "[station]", Name: "name", Type: "text", Words: "Name of the station."}},
		"1.0", time.Date(2026, 5, 2, 0, 0, 0, 0, time.UTC))
	fmt.Println(page.Name, strings.Contains(page.Text, "Name of the station."))
	// Output: padlark.toml.5 true
}
