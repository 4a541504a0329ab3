package document

import (
	"strconv"

	"github.com/tinylib/msgp/msgp"
)

// MessagePack picks values out of a MessagePack message. The error is an *Error.
func (p *Picker) MessagePack(b []byte, out *Picked) error {
	p.begin(out)
	r := packReader{whole: len(b), rest: b, out: out}
	if err := r.value(&p.root, 0); err != nil {
		return err
	}
	if len(r.rest) > 0 {
		return r.errorf("there are " + strconv.Itoa(len(r.rest)) + " bytes after the message")
	}
	return nil
}

type packReader struct {
	whole int
	rest  []byte
	out   *Picked
}

func (r *packReader) errorf(what string) error { return &Error{r.whole - len(r.rest), what} }

// value takes the next value. n is nil where no pointer leads.
func (r *packReader) value(n *node, depth int) error {
	if depth >= maxDepth {
		return r.errorf("it is nested too deep")
	}
	switch msgp.NextType(r.rest) {
	case msgp.MapType:
		r.out.put(n, Value{Kind: Other})
		return r.entries(n, depth)
	case msgp.ArrayType:
		return r.array(n, depth)
	}
	v, err := r.scalar()
	r.out.put(n, v)
	return err
}

// scalar takes a value that is no map and no array.
func (r *packReader) scalar() (v Value, err error) {
	rest := r.rest
	switch msgp.NextType(rest) {
	case msgp.NilType:
		rest, err = msgp.ReadNilBytes(rest)
	case msgp.BoolType:
		var yes bool
		yes, rest, err = msgp.ReadBoolBytes(rest)
		if v.Kind = Number; yes {
			v.Num = 1
		}
	case msgp.Float32Type:
		var f float32
		f, rest, err = msgp.ReadFloat32Bytes(rest)
		v = Value{Kind: Number, Num: float64(f)}
	case msgp.Float64Type:
		v.Kind = Number
		v.Num, rest, err = msgp.ReadFloat64Bytes(rest)
	case msgp.IntType:
		var i int64
		i, rest, err = msgp.ReadInt64Bytes(rest)
		v = Value{Kind: Number, Num: float64(i)}
	case msgp.UintType:
		var u uint64
		u, rest, err = msgp.ReadUint64Bytes(rest)
		v = Value{Kind: Number, Num: float64(u)}
	case msgp.StrType:
		v.Kind = Text
		v.Text, rest, err = msgp.ReadStringZC(rest)
	case msgp.BinType:
		v.Kind = Bytes
		v.Text, rest, err = msgp.ReadBytesZC(rest)
	default: // an extension, or no type at all
		v.Kind = Other
		rest, err = msgp.Skip(rest)
	}
	if err != nil {
		return Value{}, r.errorf("it ends within a value, or has one of no known type")
	}
	r.rest = rest
	return v, nil
}

func (r *packReader) entries(n *node, depth int) error {
	count, rest, err := msgp.ReadMapHeaderBytes(r.rest)
	if err != nil {
		return r.errorf("it ends within a map")
	}
	r.rest = rest
	var digits [20]byte
	for range count { // each takes bytes, so a count that lies ends with them
		var name []byte
		switch msgp.NextType(r.rest) {
		case msgp.MapType, msgp.ArrayType:
			return r.errorf("a name is a map or an array")
		case msgp.IntType, msgp.UintType:
			k, rest, err := msgp.ReadInt64Bytes(r.rest)
			if err != nil {
				return r.errorf("it ends within a name")
			}
			name, r.rest = strconv.AppendInt(digits[:0], k, 10), rest
		default:
			k, err := r.scalar()
			if err != nil {
				return err
			}
			name = k.Text
		}
		if err := r.value(n.named(name), depth+1); err != nil {
			return err
		}
	}
	return nil
}

func (r *packReader) array(n *node, depth int) error {
	count, rest, err := msgp.ReadArrayHeaderBytes(r.rest)
	if err != nil {
		return r.errorf("it ends within an array")
	}
	r.rest = rest
	listed := n != nil && len(n.slots) > 0
	list := Value{Kind: List, From: len(r.out.Items)}
	for i := range int(count) {
		switch msgp.NextType(r.rest) {
		case msgp.MapType, msgp.ArrayType:
			listed, list.Kind = false, Other
			if err := r.value(n.numbered(i), depth+1); err != nil {
				return err
			}
			continue
		}
		v, err := r.scalar()
		if err != nil {
			return err
		}
		if listed && !r.out.item(v) {
			return r.errorf(tooMany)
		}
		r.out.put(n.numbered(i), v)
	}
	list.To = len(r.out.Items)
	r.out.put(n, list)
	return nil
}
