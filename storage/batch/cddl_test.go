package batch

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"
	"text/scanner"
	"time"

	"github.com/fxamacker/cbor/v2"
)

// A small validator of CDDL (RFC 8610): rules, choices of types and of groups,
// maps with text keys, arrays, occurrences, ranges, and of the prelude what
// batch.cddl uses. An item is what the CBOR library makes of it without any type
// of ours.

type cddlType struct {
	choice  []*cddlType // "/"
	name    string
	literal any
	from    int64 // of a range
	to      *int64
	open    string // "{" or "[" of a group
	group   *cddlGroup
}

type cddlGroup struct{ choices [][]cddlEntry } // "//"

type cddlEntry struct {
	least, most int
	key         string
	value       *cddlType
	group       *cddlGroup // in place of key and value
}

type cddl map[string]*cddlType

type cddlParser struct {
	s   scanner.Scanner
	tok string
}

func parseCDDL(t *testing.T, text string) cddl {
	t.Helper()
	var plain strings.Builder
	for line := range strings.Lines(text) {
		line, _, _ = strings.Cut(line, ";")
		plain.WriteString(line + "\n")
	}
	p := &cddlParser{}
	p.s.Init(strings.NewReader(plain.String()))
	p.s.Error = func(_ *scanner.Scanner, msg string) { t.Fatalf("schema: %s", msg) }
	p.s.Mode = scanner.ScanIdents | scanner.ScanStrings | scanner.ScanInts
	p.next()
	out := cddl{}
	for p.tok != "" {
		name := p.take()
		if got := p.take(); got != "=" {
			t.Fatalf("schema: %q after %q at %s", got, name, p.s.Pos())
		}
		if out[name] != nil {
			t.Fatalf("schema: %s is defined twice", name)
		}
		out[name] = p.typ()
	}
	return out
}

func (p *cddlParser) next() {
	if p.s.Scan() == scanner.EOF {
		p.tok = ""
		return
	}
	p.tok = p.s.TokenText()
	if p.tok == "/" && p.s.Peek() == '/' || p.tok == "." && p.s.Peek() == '.' {
		p.s.Scan()
		p.tok += p.s.TokenText()
	}
}

func (p *cddlParser) take() string {
	t := p.tok
	p.next()
	return t
}

func (p *cddlParser) typ() *cddlType {
	first := p.typ1()
	if p.tok != "/" {
		return first
	}
	out := &cddlType{choice: []*cddlType{first}}
	for p.tok == "/" {
		p.next()
		out.choice = append(out.choice, p.typ1())
	}
	return out
}

func (p *cddlParser) typ1() *cddlType {
	switch t := p.take(); {
	case t == "{" || t == "[":
		g := p.grp()
		p.next() // the closing one
		return &cddlType{open: t, group: g}
	case t[0] == '"':
		return &cddlType{literal: t[1 : len(t)-1]}
	case t[0] >= '0' && t[0] <= '9':
		n, err := strconv.ParseInt(t, 10, 64)
		if err != nil {
			panic(err)
		}
		if p.tok != ".." {
			return &cddlType{literal: n}
		}
		p.next()
		to, err := strconv.ParseInt(p.take(), 10, 64)
		if err != nil {
			panic(err)
		}
		return &cddlType{from: n, to: &to}
	default:
		return &cddlType{name: t}
	}
}

func (p *cddlParser) grp() *cddlGroup {
	g := &cddlGroup{choices: [][]cddlEntry{nil}}
	for {
		switch p.tok {
		case "}", "]", ")":
			return g
		case "//":
			p.next()
			g.choices = append(g.choices, nil)
			continue
		case ",":
			p.next()
			continue
		}
		e := cddlEntry{least: 1, most: 1}
		switch p.tok {
		case "?":
			e.least = 0
			p.next()
		case "*":
			e.least, e.most = 0, 1<<30
			p.next()
		}
		if p.tok == "(" {
			p.next()
			e.group = p.grp()
			p.next()
		} else {
			e.value = p.typ()
			if p.tok == ":" {
				p.next()
				e.key = e.value.name
				e.value = p.typ()
			}
		}
		last := &g.choices[len(g.choices)-1]
		*last = append(*last, e)
	}
}

// check says where an item differs from a type; nil if it does not.
func (c cddl) check(ty *cddlType, v any, at string) error {
	bad := func() error { return fmt.Errorf("%s: %T %.60v is not what the schema says (%+v)", at, v, v, *ty) }
	switch {
	case ty.choice != nil:
		var err error
		for _, x := range ty.choice {
			if err = c.check(x, v, at); err == nil {
				return nil
			}
		}
		return err
	case ty.literal != nil:
		if fmt.Sprint(v) != fmt.Sprint(ty.literal) {
			return bad()
		}
		return nil
	case ty.to != nil:
		if n, ok := v.(uint64); !ok || int64(n) < ty.from || int64(n) > *ty.to {
			return bad()
		}
		return nil
	case ty.open == "{":
		m, ok := v.(map[any]any)
		if !ok {
			return bad()
		}
		used := map[string]bool{}
		if err := c.inMap(ty.group, m, used, at); err != nil {
			return err
		}
		for k := range m {
			if s, ok := k.(string); !ok || !used[s] {
				return fmt.Errorf("%s: the schema has no key %v", at, k)
			}
		}
		return nil
	case ty.open == "[":
		l, ok := v.([]any)
		if !ok {
			return bad()
		}
		return c.inArray(ty.group, l, at)
	}
	if rule := c[ty.name]; rule != nil {
		return c.check(rule, v, at)
	}
	_, isInt := v.(int64)
	_, isUint := v.(uint64)
	ok := false
	switch ty.name { // of the prelude, RFC 8610 appendix D
	case "uint":
		ok = isUint
	case "int":
		ok = isUint || isInt
	case "tstr", "text":
		_, ok = v.(string)
	case "bstr", "bytes":
		_, ok = v.([]byte)
	case "bool":
		_, ok = v.(bool)
	case "float":
		_, ok = v.(float64)
	case "null":
		ok = v == nil
	case "tdate": // #6.0(tstr)
		var tag cbor.RawTag
		if tag, ok = v.(cbor.RawTag); ok {
			var s string
			err := cbor.Unmarshal(tag.Content, &s)
			_, perr := time.Parse(time.RFC3339Nano, s)
			ok = tag.Number == 0 && err == nil && perr == nil
		}
	default:
		return fmt.Errorf("%s: the schema does not define %q", at, ty.name)
	}
	if !ok {
		return bad()
	}
	return nil
}

func (c cddl) inMap(g *cddlGroup, m map[any]any, used map[string]bool, at string) error {
	var err error
next:
	for _, entries := range g.choices {
		mine := map[string]bool{}
		for _, e := range entries {
			if e.group != nil {
				err = c.inMap(e.group, m, mine, at)
			} else if v, there := m[e.key]; there {
				mine[e.key] = true
				err = c.check(e.value, v, at+"."+e.key)
			} else if err = nil; e.least > 0 {
				err = fmt.Errorf("%s: there is no %q", at, e.key)
			}
			if err != nil {
				continue next
			}
		}
		maps.Copy(used, mine)
		return nil
	}
	return err
}

func (c cddl) inArray(g *cddlGroup, l []any, at string) error {
	i := 0
	for _, e := range g.choices[0] {
		n := 0
		for n < e.most && i < len(l) {
			if err := c.check(e.value, l[i], fmt.Sprintf("%s[%d]", at, i)); err != nil {
				return err
			}
			i, n = i+1, n+1
		}
		if n < e.least {
			return fmt.Errorf("%s: %d items are too few", at, len(l))
		}
	}
	if i < len(l) {
		return fmt.Errorf("%s: %d items are too many", at, len(l))
	}
	return nil
}

// validate checks an encoded item against a rule.
func (c cddl) validate(rule string, data []byte) error {
	if err := cbor.Wellformed(data); err != nil {
		return err
	}
	v, err := generic(data)
	if err != nil {
		return err
	}
	return c.check(c[rule], v, rule)
}

// generic decodes an item without types of ours; tags stay as they are.
func generic(data []byte) (any, error) {
	switch data[0] >> 5 {
	case 4:
		var l []cbor.RawMessage
		if err := cbor.Unmarshal(data, &l); err != nil {
			return nil, err
		}
		out := make([]any, len(l))
		for i, raw := range l {
			v, err := generic(raw)
			if err != nil {
				return nil, err
			}
			out[i] = v
		}
		return out, nil
	case 5:
		var m map[any]cbor.RawMessage
		if err := cbor.Unmarshal(data, &m); err != nil {
			return nil, err
		}
		out := map[any]any{}
		for k, raw := range m {
			v, err := generic(raw)
			if err != nil {
				return nil, err
			}
			out[k] = v
		}
		return out, nil
	case 6:
		var t cbor.RawTag
		err := cbor.Unmarshal(data, &t)
		return t, err
	}
	var v any
	err := cbor.Unmarshal(data, &v)
	return v, err
}

// The validator itself, with the example of RFC 8610 section 2.1 (from memory)
// and what that section says of it.
func TestValidator(t *testing.T) {
	c := parseCDDL(t, `person = { age: int, name: tstr, ? employer: tstr, marks: [* mark], (a: bool // b: null) }
mark = 1..3 / "none"`)
	good := map[string]any{"age": 5, "name": "Q", "marks": []any{1, "none", 3}, "a": true}
	for _, x := range []struct {
		name   string
		change func(map[string]any)
		ok     bool
	}{
		{"as it is", func(map[string]any) {}, true},
		{"optional there", func(m map[string]any) { m["employer"] = "E" }, true},
		{"the other choice", func(m map[string]any) { delete(m, "a"); m["b"] = nil }, true},
		{"negative", func(m map[string]any) { m["age"] = -5 }, true},
		{"key missing", func(m map[string]any) { delete(m, "age") }, false},
		{"key unknown", func(m map[string]any) { m["size"] = 1 }, false},
		{"wrong type", func(m map[string]any) { m["name"] = []byte("Q") }, false},
		{"out of range", func(m map[string]any) { m["marks"] = []any{4} }, false},
		{"both choices", func(m map[string]any) { m["b"] = nil }, false},
		{"no choice", func(m map[string]any) { delete(m, "a") }, false},
	} {
		m := maps.Clone(good)
		x.change(m)
		data, err := cbor.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		if err := c.validate("person", data); (err == nil) != x.ok {
			t.Errorf("%s (keys %v): %v", x.name, slices.Sorted(maps.Keys(m)), err)
		}
	}
}
