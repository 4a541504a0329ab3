// Package station is the running line: it opens the archive and the bus, starts
// the links, passes every frame through one sequencer, and stops all of it in
// the order in which nothing is lost. The commands run, demo and replay are
// three ways to start it.
//
// What flows through: ingest.Frame from the links (or from a capture, or from
// the archive in a replay) -> sequencer -> bus -> decode -> bus and watcher;
// everything else subscribes. It may import everything of ours.
package station
