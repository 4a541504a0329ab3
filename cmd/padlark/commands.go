package main

// commands lists every subcommand; kong reads it.
type commands struct {
	Version versionCmd `cmd:"" help:"Print the version."`
}
