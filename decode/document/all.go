package document

import (
	"encoding/json"
	"slices"
	"strconv"
	"strings"

	"github.com/tinylib/msgp/msgp"
)

// Entry is a value of a message and the pointer that leads to it.
type Entry struct {
	Pointer string
	Value   Value
	Items   []Value // of a list
}

// Form names how a message is written.
type Form int

// The forms that All reads.
const (
	JSONText Form = iota
	CBORMap
	MessagePackMap
)

// All lists every value of a message that is an object or a map, those of lists as
// lists: what a person is shown who does not know yet what is in it. It makes more
// garbage than a Picker. It is false where the message is none.
func All(form Form, b []byte) ([]Entry, bool) {
	var v any
	switch form {
	case JSONText:
		d := json.NewDecoder(strings.NewReader(string(b)))
		d.UseNumber()
		if d.Decode(&v) != nil || d.More() {
			return nil, false
		}
	case CBORMap:
		c, err := NewCBOR()
		if err != nil || c.mode.Unmarshal(b, &v) != nil {
			return nil, false
		}
	case MessagePackMap:
		var rest []byte
		var ok bool
		if v, rest, ok = unpack(b, 0); !ok || len(rest) > 0 {
			return nil, false
		}
	}
	switch v.(type) {
	case map[string]any, map[any]any:
	default:
		return nil, false
	}
	var out []Entry
	list(v, "", 0, &out)
	slices.SortStableFunc(out, func(a, b Entry) int { return strings.Compare(a.Pointer, b.Pointer) })
	return out, true
}

// list adds what is in a value.
func list(v any, at string, depth int, out *[]Entry) {
	if depth >= maxDepth || len(*out) >= mostItems {
		return
	}
	escape := strings.NewReplacer("~", "~0", "/", "~1")
	switch v := v.(type) {
	case map[string]any:
		for k, x := range v {
			list(x, at+"/"+escape.Replace(k), depth+1, out)
		}
	case map[any]any:
		for k, x := range v {
			if name := keyText(k); name != nil {
				list(x, at+"/"+escape.Replace(string(name)), depth+1, out)
			}
		}
	case []any:
		e := Entry{Pointer: at, Value: Value{Kind: List, To: len(v)}}
		for i, x := range v {
			one := leaf(x)
			if one.Kind == Other {
				list(x, at+"/"+strconv.Itoa(i), depth+1, out)
				e.Value.Kind = Other
			}
			e.Items = append(e.Items, one)
		}
		if e.Value.Kind == List {
			*out = append(*out, e)
		}
	default:
		*out = append(*out, Entry{Pointer: at, Value: leaf(v)})
	}
}

// leaf is the value of what is no map and no list, in any form.
func leaf(v any) Value {
	if n, ok := v.(json.Number); ok {
		return Value{Kind: Number, Text: []byte(n)}
	}
	return plain(v)
}

// unpack makes values of MessagePack, whose names may be whole numbers.
func unpack(b []byte, depth int) (v any, rest []byte, ok bool) {
	if depth >= maxDepth {
		return nil, b, false
	}
	switch msgp.NextType(b) {
	case msgp.MapType:
		n, b, err := msgp.ReadMapHeaderBytes(b)
		if err != nil || int(n) > len(b) {
			return nil, b, false
		}
		m := map[any]any{}
		for range n {
			var key, x any
			if key, b, ok = unpack(b, depth+1); !ok || keyText(key) == nil {
				return nil, b, false
			}
			if x, b, ok = unpack(b, depth+1); !ok {
				return nil, b, false
			}
			m[key] = x
		}
		return m, b, true
	case msgp.ArrayType:
		n, b, err := msgp.ReadArrayHeaderBytes(b)
		if err != nil || int(n) > len(b) {
			return nil, b, false
		}
		var l []any
		for range n {
			var x any
			if x, b, ok = unpack(b, depth+1); !ok {
				return nil, b, false
			}
			l = append(l, x)
		}
		return l, b, true
	}
	r := packReader{whole: len(b), rest: b}
	s, err := r.scalar()
	if err != nil {
		return nil, b, false
	}
	switch s.Kind {
	case Text:
		return string(s.Text), r.rest, true
	case Bytes:
		return s.Text, r.rest, true
	case Number:
		if s.Num == float64(int64(s.Num)) {
			return int64(s.Num), r.rest, true
		}
		return s.Num, r.rest, true
	}
	return nil, r.rest, true
}
