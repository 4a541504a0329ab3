package main

import (
	"context"
	"fmt"
	"runtime"
	"runtime/debug"
)

// version and commit are set by the linker for releases (-X main.version=1.2.3):
// deploy/package does.
var version, commit string

type versionCmd struct {
	JSON bool `name:"json" help:"Print as JSON."`
}

// Help shows an example.
func (versionCmd) Help() string { return "Example: padlark version --json" }

// Run prints what this binary is.
func (c *versionCmd) Run(_ context.Context, io *cmdIO) error {
	v := softwareVersion()
	if c.JSON {
		return printJSON(io.Out, "  ", builtVersion{
			Version: v, Commit: builtCommit(), Go: runtime.Version(), OS: runtime.GOOS, Arch: runtime.GOARCH, Dependencies: dependencies(),
		})
	}
	_, err := fmt.Fprint(io.Out, versionLine())
	return err
}

// versionLine says in a line what this is.
func versionLine() string {
	return fmt.Sprintf("padlark %s (%s, %s/%s)\n", softwareVersion(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
}

// builtVersion is what the program knows of its making.
type builtVersion struct {
	Version      string       `json:"version"`
	Commit       string       `json:"commit"` // "" where it was built without
	Go           string       `json:"go"`
	OS           string       `json:"os"`
	Arch         string       `json:"arch"`
	Dependencies []dependency `json:"dependencies"`
}

// dependency is one module that is linked in.
type dependency struct {
	Path    string `json:"path"`
	Version string `json:"version"`
}

// dependencies lists the modules that are linked in.
func dependencies() []dependency {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return nil
	}
	deps := make([]dependency, len(info.Deps))
	for i, d := range info.Deps {
		deps[i] = dependency{d.Path, d.Version}
	}
	return deps
}

// softwareVersion is the linker's version, or the commit that was built.
func softwareVersion() string {
	if version != "" {
		return version
	}
	if c := builtCommit(); c != "" {
		return "dev-" + c
	}
	return "dev"
}

// builtCommit is the commit of the source, with + if it was changed since, or
// "".
func builtCommit() string {
	if commit != "" {
		return commit
	}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return ""
	}
	rev, dirty := "", ""
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			rev = s.Value[:min(12, len(s.Value))]
		case "vcs.modified":
			if s.Value == "true" {
				dirty = "+"
			}
		}
	}
	if rev == "" {
		return ""
	}
	return rev + dirty
}
