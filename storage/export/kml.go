package export

import (
	"context"
	"encoding/xml"
	"fmt"
	"io"
	"strings"

	"padlark/storage"
)

// The parts of KML 2.2 (OGC 07-147r2) that are written.
type kmlFile struct {
	XMLName xml.Name   `xml:"kml"`
	Space   string     `xml:"xmlns,attr"`
	Marks   []kmlPlace `xml:"Document>Placemark"`
}

type kmlPlace struct {
	Name  string    `xml:"name"`
	Desc  string    `xml:"description,omitempty"`
	Begin string    `xml:"TimeSpan>begin"`
	End   string    `xml:"TimeSpan>end"`
	Line  *kmlShape `xml:"LineString"`
	Point *kmlShape `xml:"Point"`
	coord []string
	last  fix
}

type kmlShape struct {
	Mode        string `xml:"altitudeMode"`
	Coordinates string `xml:"coordinates"`
}

// kml writes the positions as one line a rocket and a mark where it ends (KML 2.2),
// with heights above mean sea level where the board sent them, else on the ground.
// The description says how times were fixed.
func kml(ctx context.Context, w io.Writer, src Source, q storage.Query) (uint64, error) {
	settled, err := fixedOf(ctx, src, q)
	if err != nil {
		return 0, fmt.Errorf("export kml: %w", err)
	}
	file := kmlFile{Space: "http://www.opengis.net/kml/2.2"}
	high := map[string]bool{} // rockets that tell their height
	n, err := fixes(ctx, src, q, func(f fix) error {
		if k := len(file.Marks); k == 0 || file.Marks[k-1].Name != f.rocket {
			file.Marks = append(file.Marks, kmlPlace{Name: f.rocket, Desc: fixedText(settled.by(f.session)), Begin: f.at.Format(xmlTime)})
			high[f.rocket] = f.alt != nil
		}
		p := &file.Marks[len(file.Marks)-1]
		p.coord, p.last, p.End = append(p.coord, kmlPoint(f)), f, f.at.Format(xmlTime)
		return nil
	})
	if err != nil {
		return n, fmt.Errorf("export kml: %w", err)
	}
	var marks []kmlPlace
	for _, p := range file.Marks {
		mode := "clampToGround"
		if high[p.Name] {
			mode = "absolute"
		}
		end := kmlPlace{Name: p.Name + ": last position", Begin: p.End, End: p.End, Point: &kmlShape{"clampToGround", kmlPoint(p.last)}}
		if len(p.coord) == 1 {
			p.coord = append(p.coord, p.coord[0]) // a line has two points at least
		}
		p.Line = &kmlShape{mode, strings.Join(p.coord, " ")}
		marks = append(marks, p, end)
	}
	file.Marks = marks
	if _, err := io.WriteString(w, xml.Header); err != nil {
		return n, fmt.Errorf("export kml: %w", err)
	}
	enc := xml.NewEncoder(w)
	enc.Indent("", " ")
	if err := enc.Encode(file); err != nil {
		return n, fmt.Errorf("export kml: %w", err)
	}
	if _, err := io.WriteString(w, "\n"); err != nil {
		return n, fmt.Errorf("export kml: %w", err)
	}
	return n, nil
}

// xmlTime is dateTime of XML Schema.
const xmlTime = "2006-01-02T15:04:05.999Z07:00"

// kmlPoint is longitude, latitude and height with commas between.
func kmlPoint(f fix) string {
	at := fmt.Sprintf("%.7f,%.7f", f.lon, f.lat)
	if f.alt != nil {
		at += fmt.Sprintf(",%.1f", *f.alt)
	}
	return at
}
