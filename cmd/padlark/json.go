package main

import (
	"encoding/json"
	"io"
)

// printJSON writes one value, indented for whoever reads it.
func printJSON(w io.Writer, indent string, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", indent)
	return enc.Encode(v)
}

// printJSONLines writes each value in a line of its own.
func printJSONLines[T any](w io.Writer, all []T) error {
	enc := json.NewEncoder(w)
	for _, v := range all {
		if err := enc.Encode(v); err != nil {
			return err
		}
	}
	return nil
}
