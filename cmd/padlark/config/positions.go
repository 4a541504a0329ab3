package config

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// position is a place in a TOML document, both counted from 1.
type position struct{ line, column int }

// positions says where each key of the document stands. Keys are written like
// "link[0].baud"; "link[0]" itself is the table's header.
type positions map[string]position

// findPositions walks the document once more after it has been decoded: the
// decoder knows places only for what it refuses itself, and most of what can
// be wrong with a configuration is found later, between tables.
func findPositions(data []byte) positions {
	found := positions{}
	arrays := map[string]int{}
	var p unstable.Parser
	p.Reset(data)
	table := ""
	for p.NextExpression() {
		e := p.Expression()
		switch e.Kind {
		case unstable.Table:
			path, at := keyPath(&p, e, arrays)
			table = path
			found[path] = at
		case unstable.ArrayTable:
			path, at := keyPath(&p, e, arrays)
			n := arrays[path]
			arrays[path] = n + 1
			table = fmt.Sprintf("%s[%d]", path, n)
			found[table] = at
		case unstable.KeyValue:
			found.addValue(&p, table, e)
		}
	}
	return found
}

// addValue notes a key and, for inline tables and arrays of them, what is inside.
func (f positions) addValue(p *unstable.Parser, table string, e *unstable.Node) {
	path, at := keyPath(p, e, nil)
	if table != "" {
		path = table + "." + path
	}
	f[path] = at
	f.addInside(p, path, e.Value())
}

func (f positions) addInside(p *unstable.Parser, path string, v *unstable.Node) {
	switch v.Kind {
	case unstable.InlineTable:
		for it := v.Children(); it.Next(); {
			f.addValue(p, path, it.Node())
		}
	case unstable.Array:
		i := 0
		for it := v.Children(); it.Next(); i++ {
			n := it.Node()
			item := fmt.Sprintf("%s[%d]", path, i)
			if n.Kind == unstable.InlineTable {
				for kids := n.Children(); kids.Next(); {
					f.addValue(p, item, kids.Node())
					if _, seen := f[item]; !seen {
						_, at := keyPath(p, kids.Node(), nil)
						f[item] = at
					}
				}
			}
		}
	}
}

// keyPath joins the parts of a key; a part that names an array of tables means
// its newest element, as TOML 1.0 says.
func keyPath(p *unstable.Parser, e *unstable.Node, arrays map[string]int) (string, position) {
	var parts []string
	at := position{}
	for it := e.Key(); it.Next(); {
		n := it.Node()
		if at.line == 0 {
			start := p.Shape(n.Raw).Start
			at = position{start.Line, start.Column}
		}
		if len(parts) > 0 {
			joined := strings.Join(parts, ".")
			if c := arrays[joined]; c > 0 {
				parts = []string{fmt.Sprintf("%s[%d]", joined, c-1)}
			}
		}
		parts = append(parts, string(n.Data))
	}
	return strings.Join(parts, "."), at
}

// find returns the place of a path, or of the nearest thing around it.
func (f positions) find(path string) position {
	for path != "" {
		if at, ok := f[path]; ok {
			return at
		}
		cut := strings.LastIndexAny(path, ".[")
		if cut < 0 {
			break
		}
		path = path[:cut]
	}
	return position{}
}

// remove takes the value at a path out of a document, and says whether there was
// one. A table as a whole, or an entry of a list, stays where it is.
func remove(doc map[string]any, path string) bool {
	var at any = doc
	parts := strings.Split(path, ".")
	for i, part := range parts {
		name, index, indexed := strings.Cut(part, "[")
		table, ok := at.(map[string]any)
		if !ok {
			return false
		}
		value, there := table[name]
		if !there {
			return false
		}
		if !indexed {
			if _, isTable := value.(map[string]any); i == len(parts)-1 && !isTable {
				delete(table, name)
				return true
			}
			at = value
			continue
		}
		list, ok := value.([]any)
		n, err := strconv.Atoi(strings.TrimSuffix(index, "]"))
		if !ok || err != nil || n >= len(list) {
			return false
		}
		at = list[n]
	}
	return false
}
