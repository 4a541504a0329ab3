package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// Each command has a manual page that the formatter finds no fault with
// (groff -ww tells all of its warnings).
func TestManualPages(t *testing.T) {
	dir := t.TempDir()
	must(t, "manual", dir)
	pages, err := filepath.Glob(filepath.Join(dir, "*.[15]"))
	if err != nil || len(pages) < 25 {
		t.Fatalf("pages: %v, %v", pages, err)
	}
	text, err := os.ReadFile(filepath.Join(dir, "padlark-storage-backup.1"))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{".SH NAME\npadlark\\-storage\\-backup \\- ", ".SH EXAMPLE\n", "\n.B \\-\\-data=DIR\n", ".BR padlark\\-storage (1)"} {
		if !strings.Contains(string(text), want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	need(t, "groff")
	out, err := exec.Command("groff", append([]string{"-man", "-Tutf8", "-ww", "-z"}, pages...)...).CombinedOutput()
	if err != nil || len(out) > 0 {
		t.Errorf("groff: %v\n%s", err, out)
	}
}

// The shells read their completions, and bash completes with its own.
func TestCompletion(t *testing.T) {
	dir := t.TempDir()
	for _, shell := range []string{"bash", "zsh", "fish"} {
		t.Run(shell, func(t *testing.T) {
			file := filepath.Join(dir, shell)
			if err := os.WriteFile(file, []byte(must(t, "completion", shell)), 0o644); err != nil {
				t.Fatal(err)
			}
			need(t, shell)
			if out, err := exec.Command(shell, "-n", file).CombinedOutput(); err != nil || len(out) > 0 {
				t.Errorf("%s -n: %v\n%s", shell, err, out)
			}
			if shell != "bash" {
				return
			}
			for line, want := range map[string]string{
				"st": "storage", "storage ": "backup verify backfill --help", "storage backup --j": "--json",
				"flights --rocket Teal --js": "--json", "run --ca": "--capture",
			} {
				script := `source ` + file + `; COMP_WORDS=(padlark "$@"); COMP_CWORD=$#; _padlark; echo "${COMPREPLY[*]}"`
				out, err := exec.Command(shell, append([]string{"-c", script, "-"}, strings.Split(line, " ")...)...).CombinedOutput()
				if got := strings.TrimSpace(string(out)); err != nil || got != want {
					t.Errorf("padlark %s: %q, want %q (%v)", line, got, want, err)
				}
			}
		})
	}
	if got := do(t, "completion", "csh"); got.code != exitUsage || !strings.Contains(got.err, "bash, zsh, fish") {
		t.Errorf("unknown shell: %+v", got)
	}
}

func TestHelpAndVersionAsPeopleAsk(t *testing.T) {
	if help, asked := must(t, "help", "storage", "backup"), must(t, "storage", "backup", "--help"); help != asked || help == "" {
		t.Errorf("help storage backup:\n%s\nstorage backup --help:\n%s", help, asked)
	}
	if got := do(t, "help", "nonsense"); got.code != exitUsage || !strings.Contains(got.err, "nonsense") {
		t.Errorf("help nonsense: %+v", got)
	}
	if flag, command := must(t, "--version"), must(t, "version"); flag != command || !strings.HasPrefix(flag, "padlark ") {
		t.Errorf("--version %q, version %q", flag, command)
	}
}
