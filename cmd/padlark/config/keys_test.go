package config

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write keys.json anew")

// The reference of keys is what the code and its comments say now, each key has
// words, and the example shows all of it.
func TestKeys(t *testing.T) {
	s := &sources{packages: map[string][]*ast.File{}}
	keys := s.keysOf("", "", reflect.TypeFor[Config]())
	keys = append(keys, s.framings(t)...)
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	if err := enc.Encode(keys); err != nil {
		t.Fatal(err)
	}
	for _, k := range keys {
		if k.Words == "" {
			t.Errorf("%s %s has no words: write a comment where its field is", k.Table, k.Name)
		}
	}
	if *update {
		if err := os.WriteFile("keys.json", b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if !bytes.Equal(b.Bytes(), keysText) {
		t.Errorf("keys.json is out of date: go test ./cmd/padlark/config -run TestKeys -update")
	}
	if len(keys) < 150 {
		t.Errorf("only %d keys were found", len(keys))
	}
	for _, k := range keys {
		if strings.HasPrefix(k.Table, "[") && !shows(Example(), k) {
			t.Errorf("the example does not show %s %s", k.Table, k.Name)
		}
	}
	for i, line := range strings.Split(rest(example), "\n") {
		if n := len([]rune(line)); n > 80 {
			t.Errorf("line %d of the example's rest has %d columns: %s", i+1, n, line)
		}
	}
}

func TestFindKeys(t *testing.T) {
	keys, err := Keys()
	if err != nil {
		t.Fatal(err)
	}
	for word, want := range map[string]string{
		"baud": "[[link]] baud", "field name": "field names pressure_pa", "checksum": "checksums CRC-16/XMODEM",
		"pressure": "units pressure", "parachute": "[[rocket]] parachute_m", "framing": "framings cobs", "lipo": "cells lipo-1s",
	} {
		found := Find(keys, word)
		ok := false
		for _, k := range found {
			ok = ok || k.Table+" "+k.Name == want
		}
		if !ok {
			t.Errorf("%q finds %d keys, and not %q", word, len(found), want)
		}
	}
	if found := Find(keys, "no such word at all"); len(found) != 0 {
		t.Errorf("%v", found)
	}
}

// sources reads the comments of packages.
type sources struct{ packages map[string][]*ast.File }

// keysOf lists the keys of a struct; prefix is what stands before a key inside of a
// table.
func (s *sources) keysOf(table, prefix string, t reflect.Type) (out []Key) {
	docs := s.docs(t)
	expanded := map[reflect.Type]string{} // where the same keys stand already
	for i := range t.NumField() {
		f := t.Field(i)
		key, _, _ := strings.Cut(f.Tag.Get("toml"), ",")
		if key == "" || key == "-" {
			continue
		}
		of := f.Type
		for of.Kind() == reflect.Pointer {
			of = of.Elem()
		}
		list := of.Kind() == reflect.Slice && of.Elem().Kind() == reflect.Struct
		if list {
			of = of.Elem()
		}
		if of.Kind() != reflect.Struct {
			out = append(out, Key{table, prefix + key, typeWords(of), docs[f.Name]})
			continue
		}
		switch {
		case table == "" && list:
			out = append(out, s.keysOf("[["+key+"]]", "", of)...)
		case table == "":
			out = append(out, s.keysOf("["+key+"]", "", of)...)
		default:
			kind := "table"
			if list {
				kind = "list of tables"
			}
			if before := expanded[of]; before != "" {
				out = append(out, Key{table, prefix + key, kind, docs[f.Name] + " Its keys are those of " + before + "."})
				continue
			}
			expanded[of] = key
			out = append(out, Key{table, prefix + key, kind, docs[f.Name]})
			out = append(out, s.keysOf(table, prefix+key+".", of)...)
		}
	}
	return out
}

func typeWords(t reflect.Type) string {
	switch t.Kind() {
	case reflect.String:
		return "text"
	case reflect.Bool:
		return "true or false"
	case reflect.Float64:
		return "number"
	case reflect.Slice:
		return "list of " + typeWords(t.Elem())
	case reflect.Map:
		return "table of " + typeWords(t.Elem())
	case reflect.Interface:
		return "number, text or list"
	case reflect.Struct:
		return "table"
	}
	return "whole number"
}

// docs are a struct's comments by field, with the fields called by their keys. A
// comment holds for the fields below it up to the next.
func (s *sources) docs(t reflect.Type) map[string]string {
	spec := s.typeOf(t)
	out := map[string]string{}
	if spec == nil {
		return out
	}
	keys := map[string]string{}
	for i := range t.NumField() {
		if key, _, _ := strings.Cut(t.Field(i).Tag.Get("toml"), ","); key != "" && key != "-" {
			keys[t.Field(i).Name] = key
		}
	}
	before := ""
	for _, f := range spec.Fields.List {
		words := strings.TrimSpace(f.Doc.Text() + " " + f.Comment.Text())
		if words == "" {
			words = before
		}
		before = words
		for _, n := range f.Names {
			out[n.Name] = keyWords(words, keys)
		}
	}
	return out
}

var goName = regexp.MustCompile(`\b[A-Z][A-Za-z0-9]*\b`)

// keyWords replaces the names of fields in a comment, and makes it one line.
func keyWords(words string, keys map[string]string) string {
	words = goName.ReplaceAllStringFunc(words, func(w string) string {
		if key, ok := keys[w]; ok {
			return key
		}
		return w
	})
	return strings.Join(strings.Fields(words), " ")
}

func (s *sources) typeOf(t reflect.Type) *ast.StructType {
	var found *ast.StructType
	for _, file := range s.files(t.PkgPath()) {
		ast.Inspect(file, func(n ast.Node) bool {
			if spec, ok := n.(*ast.TypeSpec); ok && spec.Name.Name == t.Name() {
				found, _ = spec.Type.(*ast.StructType)
			}
			return true
		})
	}
	return found
}

func (s *sources) files(path string) []*ast.File {
	if files := s.packages[path]; files != nil {
		return files
	}
	names, err := filepath.Glob(filepath.Join("..", "..", "..", strings.TrimPrefix(path, "padlark/"), "*.go"))
	if err != nil {
		panic(fmt.Sprintf("list the sources of %s: %v", path, err))
	}
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ParseComments)
		if err != nil {
			panic(fmt.Sprintf("read the sources of %s: %v", path, err))
		}
		s.packages[path] = append(s.packages[path], f)
	}
	return s.packages[path]
}

// framings and forms are constants with their comments.
func (s *sources) framings(t *testing.T) (out []Key) {
	for _, c := range []struct{ path, table, comment string }{
		{"padlark/ingest", "framings", "The kinds of framing."},
		{"padlark/decode", "forms", "The forms that a frame can have."},
	} {
		n := len(out)
		for _, file := range s.files(c.path) {
			for _, d := range file.Decls {
				g, ok := d.(*ast.GenDecl)
				if !ok || strings.TrimSpace(g.Doc.Text()) != c.comment {
					continue
				}
				for _, spec := range g.Specs {
					v := spec.(*ast.ValueSpec)
					word := strings.Trim(v.Values[0].(*ast.BasicLit).Value, `"`)
					out = append(out, Key{c.table, word, "", strings.TrimSpace(v.Comment.Text())})
				}
			}
		}
		if len(out) == n {
			t.Errorf("no constants under %q in %s", c.comment, c.path)
		}
	}
	return out
}
