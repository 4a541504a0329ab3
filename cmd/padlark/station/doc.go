// Package station is the running line: it opens the archive, the bus and the
// session's journal, starts the links, passes every frame through one sequencer,
// and stops all of it in the order in which nothing is lost. The commands run,
// demo and replay are three ways to start it; collect gathers other stations.
//
// What flows through: ingest.Frame from the links (or from a capture, or from
// the archive in a replay) -> sequencer -> journal -> decode -> bus -> watcher,
// whose events and alarms go to the bus and into the journal; the archive, the
// copy and the uplink follow the journal, and all else subscribes. It may import
// everything of ours.
package station
