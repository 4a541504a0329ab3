package document

import (
	"errors"
	"io"
	"math"
	"math/big"
	"strconv"
	"time"

	"github.com/fxamacker/cbor/v2"
)

// CBOR reads messages of RFC 8949. It is not changed by use.
type CBOR struct {
	mode cbor.DecMode
}

// NewCBOR makes a reader that bounds what it makes of a message.
func NewCBOR() (*CBOR, error) {
	m, err := cbor.DecOptions{MaxNestedLevels: maxDepth, MaxArrayElements: mostItems, MaxMapPairs: mostItems}.DecMode()
	return &CBOR{m}, err
}

// Pick picks values out of a message. The error is an *Error.
func (c *CBOR) Pick(p *Picker, b []byte, out *Picked) error {
	p.begin(out)
	var v any
	if err := c.mode.Unmarshal(b, &v); err != nil {
		at := 0
		var more *cbor.ExtraneousDataError
		switch {
		case errors.As(err, &more):
			at = len(b)
		case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
			return &Error{len(b), "it ends before the message does"}
		}
		return &Error{at, err.Error()}
	}
	return out.tree(&p.root, v)
}

// tree picks from a message that has been unpacked.
func (out *Picked) tree(n *node, v any) error {
	if n == nil {
		return nil
	}
	switch v := v.(type) {
	case map[any]any:
		out.put(n, Value{Kind: Other})
		for key, x := range v {
			if err := out.tree(n.named(keyText(key)), x); err != nil {
				return err
			}
		}
	case []any:
		from := len(out.Items)
		list := Value{Kind: List, From: from}
		for i, x := range v {
			s := plain(x)
			if len(n.slots) > 0 && !out.item(s) {
				return &Error{0, tooMany}
			}
			if s.Kind == Other {
				list.Kind = Other
			}
			if err := out.tree(n.numbered(i), x); err != nil {
				return err
			}
		}
		if list.To = from + len(v); len(n.slots) == 0 {
			return nil
		}
		out.put(n, list)
	case cbor.Tag:
		return out.tree(n, v.Content)
	default:
		out.put(n, plain(v))
	}
	return nil
}

// keyText is how a pointer writes a name; whole numbers are names too.
func keyText(key any) []byte {
	switch k := key.(type) {
	case string:
		return []byte(k)
	case cbor.ByteString:
		return []byte(k)
	case uint64:
		return strconv.AppendUint(nil, k, 10)
	case int64:
		return strconv.AppendInt(nil, k, 10)
	}
	return nil
}

// plain is the value of what is no map and no array.
func plain(v any) Value {
	switch v := v.(type) {
	case nil:
		return Value{}
	case bool:
		if v {
			return Value{Kind: Number, Num: 1}
		}
		return Value{Kind: Number}
	case uint64:
		return Value{Kind: Number, Num: float64(v)}
	case int64:
		return Value{Kind: Number, Num: float64(v)}
	case float64:
		return Value{Kind: Number, Num: v}
	case big.Int:
		f, _ := new(big.Float).SetInt(&v).Float64()
		return Value{Kind: Number, Num: f}
	case time.Time:
		return Value{Kind: Number, Num: unixSeconds(v)}
	case string:
		return Value{Kind: Text, Text: []byte(v)}
	case []byte:
		return Value{Kind: Bytes, Text: v}
	case cbor.Tag:
		return plain(v.Content)
	}
	return Value{Kind: Other}
}

// unixSeconds is a time in s since 1970.
func unixSeconds(t time.Time) float64 {
	return float64(t.Unix()) + math.Round(float64(t.Nanosecond())/1e3)/1e6
}
