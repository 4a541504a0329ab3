package main

// commands lists every subcommand; kong reads it.
type commands struct {
	Run        runCmd        `cmd:"" help:"Listen to the configured links, watch and record."`
	Watch      watchCmd      `cmd:"" help:"Show and call what a station elsewhere finds."`
	Show       showCmd       `cmd:"" help:"The pages over a copied archive, without link or session."`
	Demo       demoCmd       `cmd:"" help:"Fly three simulated rockets through the real program."`
	Flights    flightsCmd    `cmd:"" help:"What each flight did: height, times, speeds, with ± and a verdict."`
	Events     eventsCmd     `cmd:"" help:"Liftoffs, apogees, releases, landings of a session."`
	Alarms     alarmsCmd     `cmd:"" help:"What was raised in a session, and whether it is over and acknowledged."`
	Sessions   sessionsCmd   `cmd:"" help:"List the recorded sessions and their sizes."`
	Replay     replayCmd     `cmd:"" help:"Run a recorded session through the program again."`
	Export     exportCmd     `cmd:"" help:"Write recorded samples, or a whole session, to a file."`
	Import     importCmd     `cmd:"" help:"Take in a bundle, a board's own log or a captured stream."`
	Beep       beepCmd       `cmd:"" help:"Make the sound of a height in a sounder's code, to teach it."`
	Report     reportCmd     `cmd:"" help:"One page about one flight, to print or to show."`
	Compare    compareCmd    `cmd:"" help:"Lay flights over each other: do they differ by more than the noise?"`
	Note       noteCmd       `cmd:"" help:"Note fill, pressure, mass or anything else to a flight."`
	Void       voidCmd       `cmd:"" help:"Say that a flight was none: it is not counted. Or that it was one."`
	Correct    correctCmd    `cmd:"" help:"Join or split flights, or give one to another rocket; undo that."`
	Checkup    checkupCmd    `cmd:"" help:"Bench test of an altimeter, step by step, with a verdict."`
	Storage    storageCmd    `cmd:"" help:"Back up what is recorded; send it to a time-series server."`
	Sim        simCmd        `cmd:"" help:"Fly simulated boards into a port, a socket or a file."`
	Check      checkCmd      `cmd:"" help:"Check a configuration, and try it on a file."`
	Layout     layoutCmd     `cmd:"" help:"Guess how a board's frames are laid out, from a file or a port."`
	Predict    predictCmd    `cmd:"" help:"What this fill and pressure should do, and whether the field is big enough."`
	Tune       tuneCmd       `cmd:"" help:"Which release rule and numbers the firmware should use."`
	Collect    collectCmd    `cmd:"" help:"Gather what several stations hear into one archive."`
	Time       timeCmd       `cmd:"" help:"Set the time of a session that ran on a wrong clock."`
	Ports      portsCmd      `cmd:"" help:"List the serial ports."`
	Passphrase passphraseCmd `cmd:"" help:"Make the hash of a passphrase for the pages."`
	Ready      readyCmd      `cmd:"" help:"Look at this computer before a day in the field: ports, disk, clock, sound, power."`
	Alive      aliveCmd      `cmd:"" help:"Ask a running station whether it is well."`
	Version    versionCmd    `cmd:"" help:"Print the version."`
	Completion completionCmd `cmd:"" help:"Print what completes commands in a shell."`
	Manual     manualCmd     `cmd:"" help:"Write the manual pages."`
	Help       helpCmd       `cmd:"" help:"Show the help text of a command."`

	ShowVersion versionFlag `name:"version" help:"Print the version and leave."`
}
