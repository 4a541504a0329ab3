package manual

import (
	"fmt"
	"strings"
	"time"
)

// Entry is one key of a configuration, in its table.
type Entry struct{ Table, Name, Type, Words string }

// KeysPage is padlark.toml(5): every key of the configuration.
func KeysPage(name string, keys []Entry, version string, on time.Time) Page {
	var b strings.Builder
	fmt.Fprintf(&b, ".TH %s 5 %q %q\n.SH NAME\n%s.toml \\- the configuration of %s\n",
		strings.ToUpper(name)+".TOML", on.Format(time.DateOnly), name+" "+version, name, name)
	table := ""
	for i, k := range keys {
		if k.Table != table {
			table = k.Table
			fmt.Fprintf(&b, ".SH %s\n", roff(table))
		}
		fmt.Fprintf(&b, ".TP\n.B %s\n", roff(k.Name))
		words := k.Type
		if again := i+1 < len(keys) && keys[i+1].Table == table && keys[i+1].Words == k.Words; !again && k.Words != "" {
			words += "\n.br\n" + roff(k.Words)
		}
		fmt.Fprintf(&b, "%s\n", words)
	}
	return Page{Name: name + ".toml.5", Text: b.String()}
}
