package browsertest

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// Axe is the source of axe-core, the accessibility checks of Deque Systems
// (MPL-2.0), which npm has installed outside of this tree: where PADLARK_AXE
// says, or globally. A test skips without it; in CI that is a failure.
func Axe(t testing.TB) string {
	t.Helper()
	name := os.Getenv("PADLARK_AXE")
	if name == "" {
		if root, err := exec.Command("npm", "root", "-g").Output(); err == nil {
			name = filepath.Join(strings.TrimSpace(string(root)), "axe-core", "axe.min.js")
		}
	}
	b, err := os.ReadFile(name)
	if err == nil {
		return string(b)
	}
	const why = "no axe-core on this machine (npm install -g axe-core, or PADLARK_AXE=/path/axe.min.js)"
	if os.Getenv("PADLARK_CI") == "1" {
		t.Fatal(why)
	}
	t.Skip(why)
	return ""
}

// Audit runs axe-core over the page as it is and lists what violates a rule:
// the rule, why, and the elements. rule limits it to one of them; empty is all.
func (b *Tab) Audit(axe, rule string) []string {
	b.t.Helper()
	var there bool
	if b.Eval(`!!window.axe`, &there); !there {
		b.Eval(axe+"; true", nil)
	}
	var raw json.RawMessage
	only := ""
	if rule != "" {
		only = fmt.Sprintf(`, runOnly: [%q]`, rule)
	}
	b.Eval(`axe.run(document, { resultTypes: ['violations']`+only+` }).then((r) => r.violations.map((v) => ({ id: v.id, help: v.help, nodes: v.nodes.slice(0, 4).map((n) => n.target.join(' ') + ' ' + (n.any[0]?.message ?? n.all[0]?.message ?? n.none[0]?.message ?? '')) })))`, &raw)
	var found []struct {
		ID, Help string
		Nodes    []string
	}
	if err := json.Unmarshal(raw, &found); err != nil {
		b.t.Fatalf("read what axe-core says: %v", err)
	}
	var out []string
	for _, f := range found {
		out = append(out, fmt.Sprintf("%s (%s): %s", f.ID, f.Help, strings.Join(f.Nodes, "; ")))
	}
	return out
}
