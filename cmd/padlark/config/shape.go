package config

import (
	"encoding"
	"fmt"
	"math"
	"reflect"
	"slices"
	"sort"
	"strings"
)

// shape compares a TOML document with the tables that padlark knows, before
// anything is decoded: the decoder stops at the first value of a wrong type and
// speaks of Go's types, and a person wants all mistakes at once, in the words of
// the file. What is wrong is taken out of the document, so that the rest can be
// decoded and checked.
type shape struct {
	problems []*problem
}

// table checks a table against a struct; path is "" for the document itself.
func (s *shape) table(path string, doc map[string]any, t reflect.Type) {
	known := tomlFields(t)
	for _, key := range sortedKeys(doc) {
		at := join(path, key)
		f, ok := known[key]
		if !ok {
			s.problems = append(s.problems, unknownKey(at, key, sortedKeys(known)))
			delete(doc, key)
			continue
		}
		if why := s.value(at, doc[key], f.Type); why != "" {
			s.problems = append(s.problems, problemf(at, "%s = %s: write %s", key, shown(doc[key]), why))
			delete(doc, key)
		}
	}
}

// value says what to write instead of a value that its key cannot have; "" if it
// can. Tables inside are checked on the way.
func (s *shape) value(path string, v any, t reflect.Type) (why string) {
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if _, isText := v.(string); isText && reflect.PointerTo(t).Implements(reflect.TypeFor[encoding.TextUnmarshaler]()) {
		return ""
	}
	switch t.Kind() {
	case reflect.Interface:
		return ""
	case reflect.Struct:
		if m, ok := v.(map[string]any); ok {
			s.table(path, m, t)
			return ""
		}
	case reflect.Map:
		if m, ok := v.(map[string]any); ok {
			return s.entries(path, m, t.Elem())
		}
	case reflect.Slice:
		if list, ok := v.([]any); ok {
			return s.list(path, list, t.Elem())
		}
	default:
		if scalarFits(v, t) {
			return ""
		}
	}
	return wanted(t)
}

// entries checks the values of a table whose keys are free.
func (s *shape) entries(path string, m map[string]any, t reflect.Type) string {
	for _, key := range sortedKeys(m) {
		if why := s.value(join(path, key), m[key], t); why != "" {
			s.problems = append(s.problems, problemf(join(path, key), "%s = %s: write %s", key, shown(m[key]), why))
			delete(m, key)
		}
	}
	return ""
}

func (s *shape) list(path string, list []any, t reflect.Type) string {
	for i, v := range list {
		if why := s.value(fmt.Sprintf("%s[%d]", path, i), v, t); why != "" {
			return "a list, each " + why
		}
	}
	return ""
}

// scalarFits says whether a value can stand for a number, a word or a truth.
func scalarFits(v any, t reflect.Type) bool {
	switch t.Kind() {
	case reflect.String:
		_, ok := v.(string)
		return ok
	case reflect.Bool:
		_, ok := v.(bool)
		return ok
	case reflect.Float64, reflect.Float32:
		switch v.(type) {
		case int64, float64:
			return true
		}
		return false
	}
	n, ok := v.(int64)
	if !ok {
		return false
	}
	if t.Kind() >= reflect.Uint && t.Kind() <= reflect.Uint64 {
		return n >= 0 && !reflect.Zero(t).OverflowUint(uint64(n))
	}
	return !reflect.Zero(t).OverflowInt(n)
}

// wanted is what a key takes, in words.
func wanted(t reflect.Type) string {
	switch t.Kind() {
	case reflect.String:
		return `text in quotes, such as "teal"`
	case reflect.Bool:
		return "true or false"
	case reflect.Float64, reflect.Float32:
		return "a number, such as 1.5"
	case reflect.Slice:
		return "a list in [ ], each " + wanted(t.Elem())
	case reflect.Struct, reflect.Map:
		return "a table in { }"
	case reflect.Uint8, reflect.Uint16, reflect.Uint32:
		return fmt.Sprintf("a whole number from 0 to %d", uint64(math.Pow(2, float64(8*t.Size())))-1)
	}
	return "a whole number, such as 9600"
}

// shown is a value as a file has it, a long one cut.
func shown(v any) string {
	text := fmt.Sprint(v)
	switch x := v.(type) {
	case string:
		text = fmt.Sprintf("%q", x)
	case map[string]any:
		return "{ … }"
	case []any:
		return "[ … ]"
	}
	if r := []rune(text); len(r) > 40 {
		return string(r[:39]) + "…"
	}
	return text
}

// tomlFields are a struct's fields by their key.
func tomlFields(t reflect.Type) map[string]reflect.StructField {
	out := map[string]reflect.StructField{}
	for i := range t.NumField() {
		f := t.Field(i)
		if key, _, _ := strings.Cut(f.Tag.Get("toml"), ","); key != "" && key != "-" {
			out[key] = f
		}
	}
	return out
}

func unknownKey(path, key string, known []string) *problem {
	if near := nearest(key, known); near != "" {
		return problemf(path, "unknown key %q: did you mean %q? (padlark check --keys lists every key)", pathWords(path), near)
	}
	return problemf(path, "unknown key %q: correct its spelling or remove it (padlark check --keys lists every key)", pathWords(path))
}

// pathWords is a path without the numbers of its tables.
func pathWords(path string) string {
	var b strings.Builder
	in := false
	for _, c := range path {
		switch {
		case c == '[':
			in = true
		case c == ']':
			in = false
		case !in:
			b.WriteRune(c)
		}
	}
	return b.String()
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

// nearest is the word of a list that somebody may have meant, "" if none is near:
// with a third of its letters changed at most, or one that continues it.
func nearest(word string, list []string) string {
	best, least := "", len(word)/3+1
	for _, known := range list {
		switch d := changes(word, known); {
		case d < least:
			best, least = known, d
		case best == "" && len(word) >= 4 && strings.HasPrefix(known, word+"_"):
			best = known
		}
	}
	return best
}

// changes is how many letters must be put in, taken out, replaced or exchanged
// with their neighbour to make one word of the other (the optimal string alignment
// distance).
func changes(a, b string) int {
	rows := make([][]int, len(a)+1)
	for i := range rows {
		rows[i] = make([]int, len(b)+1)
		rows[i][0] = i
	}
	for j := range rows[0] {
		rows[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			rows[i][j] = min(rows[i-1][j]+1, rows[i][j-1]+1, rows[i-1][j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				rows[i][j] = min(rows[i][j], rows[i-2][j-2]+1)
			}
		}
	}
	return rows[len(a)][len(b)]
}

// hidden says whether a problem may only come of something that was taken out: it
// is about the same key, the table around it, or a key that is missing beside it.
func (s *shape) hidden(p *problem, missing bool) bool {
	return slices.ContainsFunc(s.problems, func(taken *problem) bool {
		beside := missing && tableOf(taken.path) == tableOf(p.path)
		return taken.path == p.path || tableOf(taken.path) == p.path || beside
	})
}

// tableOf is the path of the table that a key stands in.
func tableOf(path string) string { return path[:max(strings.LastIndexByte(path, '.'), 0)] }
