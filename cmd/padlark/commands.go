package main

// commands lists every subcommand; kong reads it.
type commands struct {
	Run     runCmd     `cmd:"" help:"Listen to the configured links, watch and record."`
	Demo    demoCmd    `cmd:"" help:"Fly three simulated rockets through the real program."`
	Predict predictCmd `cmd:"" help:"What this fill and pressure should do, and whether the field is big enough."`
	Ports   portsCmd   `cmd:"" help:"List the serial ports."`
	Version versionCmd `cmd:"" help:"Print the version."`
}
