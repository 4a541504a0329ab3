package document

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/segmentio/encoding/json"
)

// Kind is what a value is.
type Kind uint8

const (
	Absent Kind = iota // the message has no such value, or it is null
	Number             // Num, or Text if that is not nil: JSON keeps the digits
	Text               // Text
	Bytes              // Text holds them
	List               // Items[From:To] of the picked
	Other              // an object, or a list of lists: no value
)

// Value is what one pointer leads to.
type Value struct {
	Kind     Kind
	Num      float64
	Text     []byte
	From, To int // of a list
}

// Picked are the values of one message.
type Picked struct {
	Values []Value // one for each pointer
	Items  []Value // those of lists
	Found  int     // values that are not absent

	tokens json.Tokenizer
}

// Error says why a message cannot be read, and at which byte.
type Error struct {
	Offset int
	What   string
}

func (e *Error) Error() string { return fmt.Sprintf("byte %d: %s", e.Offset, e.What) }

// maxDepth is how deep a message may be nested.
const maxDepth = 32

// mostItems bounds the items of all lists of a message.
const mostItems = 4096

// Picker is a set of pointers. It is not changed by use.
type Picker struct {
	root node
	n    int
}

// node is a place in a message that some pointer leads to or through.
type node struct {
	name     string
	index    int // of an array's element; -1 if the name is none
	slots    []int
	children []*node
}

// NewPicker reads JSON Pointers. The error names the one that is none.
func NewPicker(pointers []string) (*Picker, error) {
	p := &Picker{n: len(pointers), root: node{index: -1}}
	for slot, text := range pointers {
		tokens, err := tokensOf(text)
		if err != nil {
			return nil, err
		}
		if len(tokens) >= maxDepth {
			return nil, fmt.Errorf("%q is more than %d deep", text, maxDepth-1)
		}
		at := &p.root
		for _, t := range tokens {
			at = at.grow(t)
		}
		at.slots = append(at.slots, slot)
	}
	return p, nil
}

// tokensOf splits a pointer (RFC 6901, sections 3 and 4).
func tokensOf(pointer string) ([]string, error) {
	if pointer == "" {
		return nil, nil
	}
	if pointer[0] != '/' {
		return nil, fmt.Errorf("%q does not begin with a slash; write /name, or /list/0/name", pointer)
	}
	tokens := strings.Split(pointer[1:], "/")
	for i, t := range tokens {
		for k := range len(t) {
			if t[k] == '~' && (k+1 == len(t) || t[k+1] != '0' && t[k+1] != '1') {
				return nil, fmt.Errorf("%q: a ~ in a name is written ~0, and a slash ~1", pointer)
			}
		}
		tokens[i] = strings.ReplaceAll(strings.ReplaceAll(t, "~1", "/"), "~0", "~")
	}
	return tokens, nil
}

func (n *node) grow(token string) *node {
	for _, c := range n.children {
		if c.name == token {
			return c
		}
	}
	c := &node{name: token, index: -1}
	if i, err := strconv.Atoi(token); err == nil && i >= 0 && strconv.Itoa(i) == token {
		c.index = i
	}
	n.children = append(n.children, c)
	return c
}

// named finds the child of an object's name; nil if no pointer leads there. It
// may be asked of nil.
func (n *node) named(name []byte) *node {
	if n != nil {
		for _, c := range n.children {
			if string(name) == c.name {
				return c
			}
		}
	}
	return nil
}

// numbered finds the child of an array's element.
func (n *node) numbered(i int) *node {
	if n != nil {
		for _, c := range n.children {
			if c.index == i {
				return c
			}
		}
	}
	return nil
}

// begin makes room for the values of a message.
func (p *Picker) begin(out *Picked) {
	if cap(out.Values) < p.n {
		out.Values = make([]Value, p.n)
	}
	out.Values = out.Values[:p.n]
	clear(out.Values)
	out.Items = out.Items[:0]
	out.Found = 0
}

// put notes the value of a place. Of a name that is there twice the last counts.
func (out *Picked) put(n *node, v Value) {
	if n == nil {
		return
	}
	for _, s := range n.slots {
		if out.Values[s].Kind != Absent {
			out.Found--
		}
		if out.Values[s] = v; v.Kind != Absent {
			out.Found++
		}
	}
}

// item adds an element to the lists that are under way: those whose elements
// begin at from. It is false if there is no room.
func (out *Picked) item(v Value) bool {
	if len(out.Items) >= mostItems {
		return false
	}
	out.Items = append(out.Items, v)
	return true
}

const tooMany = "its lists have too many elements"
