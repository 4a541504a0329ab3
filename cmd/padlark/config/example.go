package config

import _ "embed" // for the example

//go:embed example.toml
var example string

// Example is a configuration to start from: every table explained, every key shown.
func Example() string { return example + rest(example) }
