package export_test

import (
	"fmt"

	"padlark/storage/export"
)

// The formats that a session can be written in.
func ExampleNames() {
	for _, name := range export.Names() {
		fmt.Printf("%s: %s\n", name, export.About(name))
	}
	// Output:
	// csv: a table, one row a sample, for spreadsheets
	// geojson: the track on a map; needs positions
	// gpx: the track for maps and hand-held receivers; needs positions
	// kml: the track for globes and maps; needs positions
	// line: line protocol, for a time-series server
	// parquet: a table in columns, for data analysis
}
