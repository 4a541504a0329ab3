package export

import (
	"context"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"padlark/decode"
	"padlark/storage"
)

// Source gives the samples that a query chooses; an archive is one.
type Source interface {
	Samples(ctx context.Context, q storage.Query, fn func(*decode.Sample) error) error
}

// namer is a source that knows the channels without reading every sample, as an
// archive does.
type namer interface {
	ChannelNames(ctx context.Context, q storage.Query) ([]string, error)
}

func name(ctx context.Context, a namer, q storage.Query, seen map[string]bool) error {
	names, err := a.ChannelNames(ctx, q)
	for _, n := range names {
		seen[n] = true
	}
	return err
}

// Format writes the samples that q chooses to w, and says how many there were.
// On an error w may hold a part of them.
type Format func(ctx context.Context, w io.Writer, src Source, q storage.Query) (n uint64, err error)

// formats lists the formats by name.
func formats() map[string]Format {
	return map[string]Format{"csv": writeCSV, "parquet": writeParquet, "line": lineProtocol, "geojson": geoJSON, "gpx": gpx, "kml": kml}
}

// Lookup finds a format by its name.
func Lookup(name string) (Format, error) {
	all := formats()
	if f, ok := all[name]; ok {
		return f, nil
	}
	return nil, fmt.Errorf("export: format %q is not known; known are: %s", name, strings.Join(Names(), ", "))
}

// About says in a few words what a format holds; empty for one that is not
// known.
func About(name string) string {
	return map[string]string{
		"csv":     "a table, one row a sample, for spreadsheets",
		"geojson": "the track on a map; needs positions",
		"gpx":     "the track for maps and hand-held receivers; needs positions",
		"kml":     "the track for globes and maps; needs positions",
		"line":    "line protocol, for a time-series server",
		"parquet": "a table in columns, for data analysis",
	}[name]
}

// OnlyPositions says whether a format holds nothing but samples with a position.
func OnlyPositions(name string) bool { return name == "geojson" || name == "gpx" || name == "kml" }

// Names lists the formats' names, sorted.
func Names() []string { return slices.Sorted(maps.Keys(formats())) }

// channels lists the names of all channels that the chosen samples have: those
// of padlark's own first, in their usual order, then the others by name.
func channels(ctx context.Context, src Source, q storage.Query) ([]string, error) {
	if c, ok := src.(*Columns); ok {
		return c.ChannelNames(ctx, q) // in the order in which they were asked for
	}
	seen := map[string]bool{}
	var err error
	if a, ok := src.(namer); ok {
		err = name(ctx, a, q, seen)
	} else {
		err = src.Samples(ctx, q, func(s *decode.Sample) error {
			for _, n := range s.Values.Names {
				seen[n] = true
			}
			return nil
		})
	}
	if err != nil {
		return nil, err
	}
	var out []string
	for _, n := range usual {
		if seen[n] {
			out = append(out, n)
			delete(seen, n)
		}
	}
	var rest []string
	for n := range seen {
		rest = append(rest, n)
	}
	slices.Sort(rest)
	return append(out, rest...), nil
}

// usual is the order in which padlark's own channels are written.
var usual = []string{
	decode.PressurePa, decode.TemperatureC, decode.AltitudeM, decode.VelocityMps,
	decode.AccelMps2, decode.AccelXMps2, decode.AccelYMps2, decode.AccelZMps2,
	decode.CellV, decode.ReleaseUs, decode.ReleaseOn, decode.Armed,
	decode.LatitudeDeg, decode.LongitudeDeg, decode.GPSAltitudeM, decode.GPSFix,
	decode.RSSIDbm, decode.SNRDb,
}

// units are what the end of a channel's name stands for.
var units = []struct{ suffix, unit string }{
	{"_mps2", "m/s2"}, {"_mps", "m/s"}, {"_pa", "Pa"}, {"_c", "degC"}, {"_m", "m"}, {"_v", "V"},
	{"_us", "us"}, {"_ms", "ms"}, {"_s", "s"}, {"_deg", "deg"}, {"_dbm", "dBm"}, {"_db", "dB"},
}

// unit is a channel's unit by its name; empty if the name does not say.
func unit(channel string) string {
	for _, u := range units {
		if strings.HasSuffix(channel, u.suffix) {
			return u.unit
		}
	}
	return ""
}
