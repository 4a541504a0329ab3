// Package callout turns events, alarms and heights into what people on the
// field hear: short sentences and tones.
//
// A Planner makes Calls from what the watch found; it is pure and decides
// nothing about time. A Speaker ranks the Calls, drops those that have become
// stale, and runs a command of the user's choice with the text on its standard
// input, one at a time. A warning interrupts whatever else is being said. The
// same Calls, with their tones as data, go to the page.
//
// It imports flight (types) and nothing else of ours. The Speaker owns the
// processes that it starts and waits for each of them.
package callout
