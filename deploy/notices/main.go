// Command notices lists what is linked into padlark and under which licence:
//
//	go run ./deploy/notices copyright    Debian's machine-readable copyright file (format 1.0)
//	go run ./deploy/notices texts        the same with the texts that every Debian has already
//	go run ./deploy/notices sbom         a bill of materials (CycloneDX 1.5, JSON)
//	go run ./deploy/notices list         one line a module; fails where a licence is not one of those that we accept
//
// It reads the module cache of the machine that builds, for the system of GOOS and
// GOARCH, and so needs no network once the program has been built there.
package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

func main() {
	if err := run(os.Args[1:], os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "notices:", err)
		os.Exit(1)
	}
}

func run(args []string, out io.Writer) error {
	if len(args) != 1 {
		return errors.New("say one of: copyright, texts, sbom, list")
	}
	modules, err := linked("./cmd/padlark")
	if err != nil {
		return err
	}
	switch args[0] {
	case "copyright":
		return copyright(out, modules, false)
	case "texts":
		return copyright(out, modules, true)
	case "sbom":
		return bill(out, modules)
	case "list":
		return list(out, modules)
	}
	return fmt.Errorf("%q is not known; there are copyright, texts, sbom, list", args[0])
}

// module is one module that is linked in, or Go's own library.
type module struct {
	Path, Version, Dir string
	Licence            string // of the SPDX list; "" if the text is none that we know
	Files              []licenceFile
}

// licenceFile is one text that came with a module.
type licenceFile struct{ Name, Text string }

// linked returns the modules whose packages the package needs, Go's own first,
// the rest by path; ours is left out.
func linked(pkg string) ([]module, error) {
	out, err := command("go", "list", "-deps", "-f", `{{with .Module}}{{if not .Main}}{{.Path}} {{.Version}} {{.Dir}}{{end}}{{end}}`, pkg)
	if err != nil {
		return nil, err
	}
	lines := slices.Compact(slices.Sorted(strings.Lines(out)))
	root, err := command("go", "env", "GOROOT", "GOVERSION")
	if err != nil {
		return nil, err
	}
	std := strings.Fields(root)
	modules := []module{{Path: "std", Version: strings.TrimPrefix(std[1], "go"), Dir: std[0]}}
	for _, line := range lines {
		if f := strings.Fields(line); len(f) == 3 {
			modules = append(modules, module{Path: f[0], Version: f[1], Dir: f[2]})
		}
	}
	for i := range modules {
		if err := modules[i].read(); err != nil {
			return nil, err
		}
	}
	return modules, nil
}

// command runs a program and returns what it prints.
func command(name string, args ...string) (string, error) {
	var errs bytes.Buffer
	cmd := exec.Command(name, args...)
	cmd.Stderr = &errs
	out, err := cmd.Output()
	if err != nil {
		return "", fmt.Errorf("%s %s: %w: %s", name, args[0], err, errs.String())
	}
	return string(out), nil
}

// read finds the licence texts of a module.
func (m *module) read() error {
	entries, err := os.ReadDir(m.Dir)
	if err != nil {
		return fmt.Errorf("read licences of %s: %w (build the program first: that fetches its modules)", m.Path, err)
	}
	for _, e := range entries {
		upper := strings.ToUpper(e.Name())
		if e.IsDir() || !slices.ContainsFunc([]string{"LICENSE", "LICENCE", "COPYING", "NOTICE"}, func(p string) bool { return strings.HasPrefix(upper, p) }) {
			continue
		}
		text, err := os.ReadFile(filepath.Join(m.Dir, e.Name()))
		if err != nil {
			return fmt.Errorf("read licences of %s: %w", m.Path, err)
		}
		m.Files = append(m.Files, licenceFile{e.Name(), strings.ReplaceAll(string(text), "\r\n", "\n")})
		if m.Licence == "" {
			m.Licence = named(string(text))
		}
	}
	return nil
}

// accepted tells licences by words that stand in their texts and in no other.
// The more special come first.
var accepted = []struct {
	licence string
	words   []string
}{
	{"Apache-2.0", []string{"Apache License", "Version 2.0"}},
	{"CC-BY-4.0", []string{"Creative Commons Attribution 4.0"}},
	{"FTL", []string{"FreeType License"}},
	{"OFL-1.1", []string{"SIL OPEN FONT LICENSE"}},
	{"MPL-2.0", []string{"Mozilla Public License", "2.0"}},
	{"Unlicense", []string{"free and unencumbered software released into the public domain"}},
	{"ISC", []string{"Permission to use, copy, modify, and/or distribute this software for any purpose"}},
	{"MIT", []string{"Permission is hereby granted, free of charge"}},
	{"BSD-3-Clause", []string{"Redistributions of source code must retain", "Neither the name"}},
	{"BSD-2-Clause", []string{"Redistributions of source code must retain"}},
}

// named is the licence whose words stand in a text, or "".
func named(text string) string {
	flat := strings.ToLower(strings.Join(strings.Fields(text), " "))
	for _, a := range accepted {
		if !slices.ContainsFunc(a.words, func(w string) bool { return !strings.Contains(flat, strings.ToLower(w)) }) {
			return a.licence
		}
	}
	return ""
}

// list prints one line a module and fails where a licence is not known.
func list(out io.Writer, modules []module) error {
	var unknown []string
	for _, m := range modules {
		fmt.Fprintf(out, "%-14s %s %s\n", m.Licence, m.Path, m.Version)
		if m.Licence == "" {
			unknown = append(unknown, m.Path)
		}
	}
	if unknown != nil {
		return fmt.Errorf("no licence that we accept is found in: %s; read it, and add its words to deploy/notices or do without the module", strings.Join(unknown, ", "))
	}
	return nil
}

// copyright prints Debian's copyright file: padlark's own licence, then each
// module's, as its author wrote it. Without all, texts that every Debian has are
// named only, as its policy wants.
func copyright(out io.Writer, modules []module, all bool) error {
	own, err := os.ReadFile("LICENSE")
	if err != nil {
		return fmt.Errorf("read padlark's own licence (run this at the top of the source): %w", err)
	}
	fmt.Fprint(out, "Format: https://www.debian.org/doc/packaging-manuals/copyright-format/1.0/\nUpstream-Name: padlark\n")
	stanza(out, "*", "the authors of padlark", "MIT", string(own))
	for _, m := range modules {
		var text strings.Builder
		for _, f := range m.Files {
			said := strings.TrimSpace(f.Text)
			if !all && named(said) == "Apache-2.0" && strings.Contains(said, "END OF TERMS AND CONDITIONS") {
				said = "Apache License, Version 2.0: /usr/share/common-licenses/Apache-2.0"
			}
			fmt.Fprintf(&text, "%s of %s %s:\n\n%s\n", f.Name, m.Path, m.Version, said)
		}
		// Each has its own notice of copyright within its text, so each is a licence of its own here.
		stanza(out, "linked-in/"+m.Path+"/*", "see the licence's text", m.Licence+"-of-"+strings.ReplaceAll(m.Path, "/", "-"), text.String())
	}
	return nil
}

// stanza prints one paragraph of a copyright file; an empty line is a full stop
// there.
func stanza(out io.Writer, files, owner, licence, text string) {
	fmt.Fprintf(out, "\nFiles: %s\nCopyright: %s\nLicense: %s\n", files, owner, licence)
	for line := range strings.Lines(strings.TrimSpace(text)) {
		line = strings.TrimRight(line, " \t\n\f")
		if line == "" {
			line = "."
		}
		fmt.Fprintf(out, " %s\n", line)
	}
}

// bill prints a bill of materials. The form's names are those of CycloneDX 1.5
// (ECMA-424).
func bill(out io.Writer, modules []module) error {
	type licence struct {
		License struct {
			ID string `json:"id"`
		} `json:"license"`
	}
	type component struct {
		Type     string    `json:"type"`
		Name     string    `json:"name"`
		Version  string    `json:"version"`
		PURL     string    `json:"purl"`
		Licences []licence `json:"licenses,omitempty"`
	}
	components := make([]component, len(modules))
	for i, m := range modules {
		c := component{Type: "library", Name: m.Path, Version: m.Version, PURL: "pkg:golang/" + m.Path + "@" + m.Version}
		if m.Licence != "" {
			var l licence
			l.License.ID = m.Licence
			c.Licences = []licence{l}
		}
		components[i] = c
	}
	enc := json.NewEncoder(out)
	enc.SetIndent("", "  ")
	return enc.Encode(map[string]any{
		"bomFormat": "CycloneDX", "specVersion": "1.5", "version": 1,
		"metadata":   map[string]any{"component": map[string]string{"type": "application", "name": "padlark"}},
		"components": components,
	})
}
