package export

import (
	"bufio"
	"context"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"padlark/decode"
	"padlark/storage"
	"padlark/storage/influx"
)

// lineProtocol writes each sample as the line that an InfluxDB server takes.
// Comments at the beginning say how times were fixed.
func lineProtocol(ctx context.Context, w io.Writer, src Source, q storage.Query) (n uint64, err error) {
	times, err := fixedOf(ctx, src, q)
	if err != nil {
		return 0, fmt.Errorf("export line protocol: %w", err)
	}
	out := bufio.NewWriterSize(w, 64<<10)
	var line []byte
	for _, id := range slices.Sorted(maps.Keys(times)) {
		line = fmt.Appendf(line, "# times of session %s: %s\n", id, oneLine.Replace(times.by(id)))
	}
	if _, err := out.Write(line); err != nil {
		return 0, fmt.Errorf("export line protocol: %w", err)
	}
	err = src.Samples(ctx, q, func(s *decode.Sample) error {
		line = influx.AppendSample(line[:0], "", s)
		n++
		_, err := out.Write(line)
		return err
	})
	if err == nil {
		err = out.Flush()
	}
	if err != nil {
		return n, fmt.Errorf("export line protocol: %w", err)
	}
	return n, nil
}

// oneLine keeps a comment within its line.
var oneLine = strings.NewReplacer("\n", " ", "\r", " ")

// fix is a position that a board sent, with its time.
type fix struct {
	session  string
	rocket   string
	at       time.Time
	lat, lon float64
	alt      *float64 // above mean sea level, m
}

// fixes calls fn for each sample that has a position. A sample whose board says
// that it has no fix is left out.
func fixes(ctx context.Context, src Source, q storage.Query, fn func(fix) error) (n uint64, err error) {
	err = src.Samples(ctx, q, func(s *decode.Sample) error {
		lat, ok1 := s.Values.Get(decode.LatitudeDeg)
		lon, ok2 := s.Values.Get(decode.LongitudeDeg)
		if !s.HasFix() || !ok1 || !ok2 {
			return nil
		}
		f := fix{session: s.Session, rocket: s.Rocket, at: s.At.UTC(), lat: lat, lon: lon}
		if alt, ok := s.Values.Get(decode.GPSAltitudeM); ok {
			f.alt = &alt
		}
		n++
		return fn(f)
	})
	return n, err
}

// geoJSON writes the positions as one feature a rocket (RFC 7946): a line of
// longitude, latitude and, if sent, height above mean sea level, with the time
// of each point in the property "times", and in "time_fixed_by" how the times
// were fixed.
func geoJSON(ctx context.Context, w io.Writer, src Source, q storage.Query) (uint64, error) {
	type geometry struct {
		Type        string      `json:"type"`
		Coordinates [][]float64 `json:"coordinates"`
	}
	type feature struct {
		Type       string         `json:"type"`
		Properties map[string]any `json:"properties"`
		Geometry   geometry       `json:"geometry"`
	}
	settled, err := fixedOf(ctx, src, q)
	if err != nil {
		return 0, fmt.Errorf("export geojson: %w", err)
	}
	var list []*feature
	times := map[*feature][]time.Time{}
	n, err := fixes(ctx, src, q, func(f fix) error {
		var one *feature
		if k := len(list); k > 0 && list[k-1].Properties["rocket"] == f.rocket {
			one = list[k-1]
		} else {
			one = &feature{"Feature", map[string]any{"rocket": f.rocket}, geometry{Type: "LineString"}}
			if by := settled.by(f.session); by != "" {
				one.Properties["time_fixed_by"] = by
			}
			list = append(list, one)
		}
		point := []float64{f.lon, f.lat}
		if f.alt != nil {
			point = append(point, *f.alt)
		}
		one.Geometry.Coordinates = append(one.Geometry.Coordinates, point)
		times[one] = append(times[one], f.at)
		return nil
	})
	if err != nil {
		return n, fmt.Errorf("export geojson: %w", err)
	}
	for _, one := range list {
		one.Properties["times"] = times[one]
		if len(one.Geometry.Coordinates) == 1 {
			// A line has two points at least (RFC 7946, 3.1.4).
			one.Geometry.Coordinates = append(one.Geometry.Coordinates, one.Geometry.Coordinates[0])
		}
	}
	if list == nil {
		list = []*feature{}
	}
	err = json.NewEncoder(w).Encode(map[string]any{"type": "FeatureCollection", "features": list})
	if err != nil {
		return n, fmt.Errorf("export geojson: %w", err)
	}
	return n, nil
}

// The parts of GPX 1.1 that are written.
type gpxFile struct {
	XMLName xml.Name   `xml:"gpx"`
	Space   string     `xml:"xmlns,attr"`
	Version string     `xml:"version,attr"`
	Creator string     `xml:"creator,attr"`
	Tracks  []gpxTrack `xml:"trk"`
}

type gpxTrack struct {
	Name   string     `xml:"name"`
	Desc   string     `xml:"desc,omitempty"` // how the times were fixed
	Points []gpxPoint `xml:"trkseg>trkpt"`
}

type gpxPoint struct {
	Lat  float64  `xml:"lat,attr"`
	Lon  float64  `xml:"lon,attr"`
	Ele  *float64 `xml:"ele,omitempty"`
	Time string   `xml:"time"`
}

func fixedText(by string) string {
	if by == "" {
		return ""
	}
	return "Times: " + by
}

// gpx writes the positions as one track a rocket (GPX 1.1), whose description
// says how times were fixed.
func gpx(ctx context.Context, w io.Writer, src Source, q storage.Query) (uint64, error) {
	settled, err := fixedOf(ctx, src, q)
	if err != nil {
		return 0, fmt.Errorf("export gpx: %w", err)
	}
	file := gpxFile{Space: "http://www.topografix.com/GPX/1/1", Version: "1.1", Creator: "padlark"}
	n, err := fixes(ctx, src, q, func(f fix) error {
		if k := len(file.Tracks); k == 0 || file.Tracks[k-1].Name != f.rocket {
			file.Tracks = append(file.Tracks, gpxTrack{Name: f.rocket, Desc: fixedText(settled.by(f.session))})
		}
		t := &file.Tracks[len(file.Tracks)-1]
		t.Points = append(t.Points, gpxPoint{f.lat, f.lon, f.alt, f.at.Format(time.RFC3339Nano)})
		return nil
	})
	if err != nil {
		return n, fmt.Errorf("export gpx: %w", err)
	}
	if _, err := io.WriteString(w, xml.Header); err != nil {
		return n, fmt.Errorf("export gpx: %w", err)
	}
	enc := xml.NewEncoder(w)
	enc.Indent("", " ")
	if err := enc.Encode(file); err != nil {
		return n, fmt.Errorf("export gpx: %w", err)
	}
	if _, err := io.WriteString(w, "\n"); err != nil {
		return n, fmt.Errorf("export gpx: %w", err)
	}
	return n, nil
}
