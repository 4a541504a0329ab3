package main

import (
	"context"
	"encoding/json"
	"fmt"
	"runtime"
	"runtime/debug"
)

// version is set by the linker for releases (-X main.version=1.2.3).
var version = ""

type versionCmd struct {
	JSON bool `name:"json" help:"Print as JSON."`
}

// Help shows an example.
func (versionCmd) Help() string { return "Example: padlark version --json" }

// Run prints what this binary is.
func (c *versionCmd) Run(_ context.Context, io *cmdIO) error {
	v := softwareVersion()
	if c.JSON {
		return json.NewEncoder(io.Out).Encode(map[string]string{
			"version": v, "go": runtime.Version(), "os": runtime.GOOS, "arch": runtime.GOARCH,
		})
	}
	fmt.Fprintf(io.Out, "padlark %s (%s, %s/%s)\n", v, runtime.Version(), runtime.GOOS, runtime.GOARCH)
	return nil
}

// softwareVersion is the linker's version, or the commit that was built.
func softwareVersion() string {
	if version != "" {
		return version
	}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	rev, dirty := "", ""
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			rev = s.Value
		case "vcs.modified":
			if s.Value == "true" {
				dirty = "+"
			}
		}
	}
	if len(rev) >= 12 {
		return "dev-" + rev[:12] + dirty
	}
	return "dev"
}
