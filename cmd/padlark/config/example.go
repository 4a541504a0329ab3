package config

import _ "embed" // for the example

//go:embed example.toml
var example string

// Example is a configuration to start from, with every table explained.
func Example() string { return example }
