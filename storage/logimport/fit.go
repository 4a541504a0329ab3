package logimport

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"
)

// misfit is Log.Misfit.
func (s *Source) misfit(c Config) string {
	layout, err := layoutOf(c)
	if err != nil || layout.Form != "delimited" || s.kind == captured {
		return ""
	}
	head, err := headOf(s.open)
	if err != nil {
		return ""
	}
	if !isText(head) {
		return "it is no text: take the layout of the board's binary log"
	}
	lines := bytes.FieldsFunc(head, func(r rune) bool { return r == '\n' || r == '\r' })
	if len(lines) > 2 {
		lines = lines[1 : len(lines)-1] // neither a header nor a line that is cut
	}
	own := layout.Separator
	if own == "" {
		own = ","
	}
	sep, columns := separatorOf(lines)
	switch {
	case columns == 0:
		return ""
	case bytes.Count(head, []byte{'"'}) > 2*len(lines):
		return `its values stand in quotes ("): save it once more without them`
	case sep != own && (own != " " || sep != "\t"):
		text := fmt.Sprintf("its values are separated by %q, and the layout says %q: write separator = %[1]q", sep, own)
		if sep == ";" && bytes.IndexByte(bytes.Join(lines, nil), ',') >= 0 {
			text += "; decimal commas are read then too"
		}
		return text
	case columns != len(layout.Fields) && (columns < len(layout.Fields) || !layout.More):
		return fmt.Sprintf("its lines have %d values, and the layout lists %d fields: list them in fields as they stand there", columns, len(layout.Fields))
	}
	return ""
}

// isText says whether bytes may be text: nearly none is a control character or
// no UTF-8.
func isText(head []byte) bool {
	bad := 0
	for _, r := range string(head) {
		if r < ' ' && !strings.ContainsRune("\r\n\t\f", r) || r == utf8.RuneError {
			bad++
		}
	}
	return 10*bad <= len(head)
}

// separatorOf finds what stands equally often in every line, and how many
// values it makes. Of several it is the first, and a comma comes last: it may
// be a decimal comma.
func separatorOf(lines [][]byte) (sep string, columns int) {
	for _, sep := range []string{";", "\t", "|", ","} {
		most := 0
		for i, l := range lines {
			n := strings.Count(string(l), sep)
			if i > 0 && n != most {
				most = 0
				break
			}
			most = n
		}
		if most > 0 {
			return sep, most + 1
		}
	}
	return "", 0
}
