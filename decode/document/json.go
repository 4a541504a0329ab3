package document

import (
	stdjson "encoding/json"
	"errors"

	"github.com/segmentio/encoding/json"
)

// JSON picks values out of a JSON text. The error is an *Error.
func (p *Picker) JSON(b []byte, out *Picked) error {
	p.begin(out)
	if !json.Valid(b) {
		return invalidJSON(b)
	}
	out.tokens.Reset(b)
	defer out.tokens.Reset(nil) // what it holds is used again
	r := jsonReader{tokens: &out.tokens, whole: len(b), out: out}
	if !r.tokens.Next() {
		return r.errorf("it is no JSON text")
	}
	return r.value(&p.root, 0)
}

// invalidJSON finds out where a text is none; that is slower.
func invalidJSON(b []byte) error {
	var raw stdjson.RawMessage
	var bad *stdjson.SyntaxError
	if err := stdjson.Unmarshal(b, &raw); errors.As(err, &bad) {
		return &Error{max(int(bad.Offset)-1, 0), bad.Error()}
	}
	return &Error{0, "it is no JSON text"}
}

type jsonReader struct {
	tokens *json.Tokenizer
	whole  int
	out    *Picked
}

func (r *jsonReader) errorf(what string) error {
	return &Error{r.whole - r.tokens.Remaining(), what}
}

// value takes the value whose first token has been read. n is nil where no
// pointer leads.
func (r *jsonReader) value(n *node, depth int) error {
	if depth >= maxDepth {
		return r.errorf("it is nested too deep")
	}
	switch r.tokens.Delim {
	case '{':
		r.out.put(n, Value{Kind: Other})
		return r.object(n, depth)
	case '[':
		return r.array(n, depth)
	}
	r.out.put(n, r.scalar(n != nil))
	return nil
}

// scalar is the value of the token at hand, which need not be read if nobody
// wants it.
func (r *jsonReader) scalar(wanted bool) Value {
	t := r.tokens
	switch {
	case !wanted:
		return Value{Kind: Other}
	case t.Value.Null():
		return Value{}
	case t.Value.True():
		return Value{Kind: Number, Num: 1}
	case t.Value.False():
		return Value{Kind: Number}
	case t.Value.String():
		return Value{Kind: Text, Text: t.String()}
	}
	return Value{Kind: Number, Text: t.Value}
}

func (r *jsonReader) object(n *node, depth int) error {
	var child *node
	for r.tokens.Next() {
		switch r.tokens.Delim {
		case '}':
			return nil
		case ',', ':':
			continue
		}
		if r.tokens.IsKey {
			child = n.named(r.tokens.String())
			continue
		}
		if err := r.value(child, depth+1); err != nil {
			return err
		}
	}
	return r.errorf("it ends within an object")
}

func (r *jsonReader) array(n *node, depth int) error {
	from, index := len(r.out.Items), 0
	listed := n != nil && len(n.slots) > 0
	for r.tokens.Next() {
		switch r.tokens.Delim {
		case ']':
			if listed {
				r.out.put(n, Value{Kind: List, From: from, To: len(r.out.Items)})
			}
			return nil
		case ',':
			continue
		}
		inner := r.tokens.Delim != 0
		if listed && !inner && !r.out.item(r.scalar(true)) {
			return r.errorf(tooMany)
		}
		if err := r.value(n.numbered(index), depth+1); err != nil {
			return err
		}
		if inner {
			listed = false
			r.out.put(n, Value{Kind: Other})
		}
		index++
	}
	return r.errorf("it ends within an array")
}
