package config_test

import (
	"fmt"

	"padlark/cmd/padlark/config"
)

// A mistake is told with its place.
func ExampleParsePart() {
	_, err := config.ParsePart("field.toml", []byte("[station]\nname = \"north\"\ncolour = \"red\"\n"))
	fmt.Println(err)
	// Output: field.toml:3:1: unknown key "station.colour": correct its spelling or remove it (padlark check --keys lists every key)
}
