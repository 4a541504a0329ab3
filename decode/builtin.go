package decode

import (
	"bytes"
	_ "embed" // for the built-in layouts
	"fmt"

	"github.com/pelletier/go-toml/v2"
)

//go:embed builtin.toml
var builtinText []byte

// The built-in layouts whose names nobody else can have.
const (
	LarkText = "lark-text"
	LarkBin  = "lark-bin"
)

// Builtin gives the built-in layouts.
func Builtin() ([]Layout, error) {
	var file struct {
		Layout []Layout `toml:"layout"`
	}
	d := toml.NewDecoder(bytes.NewReader(builtinText))
	d.DisallowUnknownFields()
	if err := d.Decode(&file); err != nil {
		return nil, fmt.Errorf("read built-in layouts: %w", err)
	}
	return file.Layout, nil
}
