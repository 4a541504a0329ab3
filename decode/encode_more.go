package decode

import (
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/fxamacker/cbor/v2"
	"github.com/tinylib/msgp/msgp"
)

// appendColumns writes the fields of a line where its layout has them, and what
// no field names as an empty column.
func (p *Program) appendColumns(dst []byte, v Message, raws map[int]float64) ([]byte, error) {
	if p.text.nameless {
		return nil, fmt.Errorf("encode layout %q: its columns have names without numbers; add header = …", p.name)
	}
	line := len(dst)
	cells := make([]string, p.text.columns)
	for i := range p.fields {
		f := &p.fields[i]
		cell, err := p.appendField(nil, i, v, raws)
		if err != nil {
			return nil, fmt.Errorf("encode layout %q: field %q: %w", p.name, f.name, err)
		}
		switch p.text.places {
		case byNames:
			cells = append(cells, f.keys[0]+string(p.text.pairs)+string(cell))
		case atPlaces:
			if len(cell) > f.size {
				return nil, fmt.Errorf("encode layout %q: field %q: %q has more than %d characters", p.name, f.name, cell, f.size)
			}
			for len(dst) < line+f.at+f.size {
				dst = append(dst, ' ')
			}
			copy(dst[line+f.at+f.size-len(cell):], cell)
		default:
			cells[f.column] = string(cell)
		}
	}
	separator := " "
	if p.text.separator != nil {
		separator = string(p.text.separator)
	}
	return append(dst, strings.Join(cells, separator)...), nil
}

// appendCarried writes the frame that a field holds.
func (p *Program) appendCarried(dst []byte, v Message) ([]byte, error) {
	b, err := p.inner.Encode(nil, v)
	if err != nil {
		return nil, err
	}
	switch p.fields[p.carries].frame {
	case asHex:
		return hex.AppendEncode(dst, b), nil
	case asBase64:
		return base64.StdEncoding.AppendEncode(dst, b), nil
	}
	return append(dst, b...), nil
}

// encodeDocument writes a document with the layout's values and no others.
func (p *Program) encodeDocument(dst []byte, v Message) ([]byte, error) {
	raws, err := p.rawCounts(v)
	if err != nil {
		return nil, err
	}
	root := map[string]any{}
	for i := range p.fields {
		f := &p.fields[i]
		value, err := p.documentValue(i, v, raws)
		if err == nil && value != nil {
			path, _ := nameList(p.layout.Fields[i].Path) //nolint:errcheck // it has been compiled
			err = putPath(root, path[0], value)
		}
		if err != nil {
			return nil, fmt.Errorf("encode layout %q: field %q: %w", p.name, f.name, err)
		}
	}
	switch p.form {
	case formJSON:
		b, err := json.Marshal(root)
		return append(dst, b...), err
	case formCBOR:
		b, err := cbor.Marshal(root)
		return append(dst, b...), err
	}
	return msgp.AppendIntf(dst, root)
}

// documentValue is a number where it can be one, else text; nil is missing.
func (p *Program) documentValue(i int, v Message, raws map[int]float64) (any, error) {
	f := &p.fields[i]
	cell, err := p.appendField(nil, i, v, raws)
	switch {
	case err != nil || len(cell) == 0:
		return nil, err
	case f.use == useSign || f.use == useFrame || len(f.onlyText) > 0 || f.hex || f.format >= clockTime:
		if f.use == useFrame && f.frame == asBytes && p.form != formJSON {
			return cell, nil
		}
		return string(cell), nil
	}
	x, err := strconv.ParseFloat(string(cell), 64)
	if err != nil || math.IsNaN(x) {
		return string(cell), nil //nolint:nilerr // a word that means missing
	}
	return x, nil
}

// putPath makes the objects that a JSON Pointer goes through.
func putPath(root map[string]any, pointer string, value any) error {
	names := strings.Split(strings.TrimPrefix(pointer, "/"), "/")
	for i, n := range names {
		n = strings.ReplaceAll(strings.ReplaceAll(n, "~1", "/"), "~0", "~")
		if i == len(names)-1 {
			root[n] = value
			return nil
		}
		next, there := root[n].(map[string]any)
		if !there {
			next = map[string]any{}
			root[n] = next
		}
		root = next
	}
	return fmt.Errorf("path %q leads nowhere", pointer)
}
