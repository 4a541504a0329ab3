package web

import (
	"fmt"
	"net/http"
	"strings"
)

// Key is one key of the configuration, or one word of a fixed list.
type Key struct {
	Table string // such as "[[link]]"
	Name  string // below the table
	Type  string // in words
	Words string // what it means; one text may be of several keys that follow each other
}

// keyTable is a table of the reference; each entry is one text with its keys.
type keyTable struct {
	Table   string
	ID      string // for its place in the page
	Entries []keyEntry
}

type keyEntry struct {
	Keys  []Key
	Words string
}

// longestWord bounds what is looked for, in bytes.
const longestWord = 60

// pageKeys shows the reference of the configuration, or what a word finds in it.
func (s *Server) pageKeys(w http.ResponseWriter, r *http.Request) error {
	word := strings.TrimSpace(r.FormValue("q"))
	if len(word) > longestWord {
		return badRequest("q", short(word), fmt.Sprintf("look for a word of %d bytes at the most", longestWord))
	}
	var tables []keyTable
	if s.opt.Keys != nil {
		keys, err := s.opt.Keys(word)
		if err != nil {
			return fmt.Errorf("read the reference of keys: %w", err)
		}
		tables = keyTables(keys)
	}
	return s.render(w, r, http.StatusOK, "keys", "links", "Keys of the configuration", struct {
		Word   string
		Tables []keyTable
	}{word, tables})
}

// keyTables puts keys that follow each other with one text together.
func keyTables(keys []Key) []keyTable {
	var out []keyTable
	for i, k := range keys {
		if i == 0 || keys[i-1].Table != k.Table {
			out = append(out, keyTable{Table: k.Table, ID: strings.NewReplacer("[", "", "]", "", " ", "-").Replace(k.Table)})
		}
		t := &out[len(out)-1]
		if n := len(t.Entries); n > 0 && t.Entries[n-1].Words == k.Words && k.Words != "" {
			t.Entries[n-1].Keys = append(t.Entries[n-1].Keys, k)
			continue
		}
		t.Entries = append(t.Entries, keyEntry{[]Key{k}, k.Words})
	}
	return out
}
