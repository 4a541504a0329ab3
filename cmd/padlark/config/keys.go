package config

import (
	_ "embed" // for the reference
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"padlark/decode"
	"padlark/flight/alarm"
)

// keysText is made from the comments of the code by TestKeys -update, which fails
// where it is out of date.
//
//go:embed keys.json
var keysText []byte

// Key is one key of the configuration, or one word of a fixed list.
type Key struct {
	Table string `json:"table"` // such as "[[link]]"
	Name  string `json:"name"`  // below the table, such as "usb.vid"
	Type  string `json:"type"`  // in words
	Words string `json:"words"`
}

// Keys lists every key of the configuration, then the field names, units, framings,
// forms, checksums and cells that stand in them.
func Keys() ([]Key, error) {
	var keys []Key
	if err := json.Unmarshal(keysText, &keys); err != nil {
		return nil, fmt.Errorf("read the reference of keys: %w", err)
	}
	for _, u := range decode.Uses() {
		keys = append(keys, Key{"field names", u.Name, orWord(decode.UnitOf(u.Name), "number"), "used for " + u.For})
	}
	keys = append(keys, Key{"field names", "any other", "number", "kept, shown and exported, and used for nothing; a name that ends in _pa _c _m _mps _v _us _deg and so on has that unit"})
	units := decode.Units()
	for _, quantity := range sortedKeys(units) {
		keys = append(keys, Key{"units", quantity, "", strings.Join(units[quantity], " ")})
	}
	for _, name := range append(decode.ChecksumNames(), decode.SealKind) {
		keys = append(keys, Key{"checksums", name, "", ""})
	}
	for _, name := range alarm.Supplies() {
		keys = append(keys, Key{"cells", name, "", ""})
	}
	return keys, nil
}

func orWord(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// Find chooses the keys that a word is in: in a table or key, else in the words.
func Find(keys []Key, word string) []Key {
	word = strings.ToLower(strings.Trim(word, "[]"))
	in := func(s string) bool { return strings.Contains(strings.ToLower(s), word) }
	for _, fits := range []func(Key) bool{
		func(k Key) bool { return in(k.Table + "." + k.Name) },
		func(k Key) bool { return in(k.Words) },
	} {
		if found := slices.DeleteFunc(slices.Clone(keys), func(k Key) bool { return !fits(k) }); len(found) > 0 {
			return found
		}
	}
	return nil
}

// rest is every key that the hand-written example does not show, commented.
func rest(example string) string {
	keys, err := Keys()
	if err != nil {
		return "" // the test of the keys would have failed
	}
	var b strings.Builder
	table := ""
	for _, k := range keys {
		if !strings.HasPrefix(k.Table, "[") {
			break
		}
		if shows(example, k) {
			continue
		}
		if table == "" {
			b.WriteString("\n# All other keys, for the tables above. padlark check --keys WORD says more.\n")
		}
		if k.Table != table {
			table = k.Table
			fmt.Fprintf(&b, "\n# %s\n", table)
		}
		words := k.Words
		if i := strings.Index(words, ". "); i > 0 {
			words = words[:i]
		}
		line := fmt.Sprintf("# %-20s # %s", k.Name+" =", k.Type)
		if whole := line + ": " + words; len([]rune(whole)) <= 80 {
			line = whole
		}
		b.WriteString(line + "\n")
	}
	return b.String()
}

// shows says whether an example has a key, as "key =" or inside of a table in braces.
func shows(example string, k Key) bool {
	name := k.Name[strings.LastIndexByte(k.Name, '.')+1:]
	return strings.Contains(example, name+" =")
}
