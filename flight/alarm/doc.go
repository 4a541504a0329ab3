// Package alarm turns what is known of each rocket into alarms: things that a
// person must act on or distrust.
//
// Each rule is a small type of its own that looks at one rocket's view (the
// newest sample, the tracked state, the events so far, the clock) and says
// whether its condition holds. A rule does no I/O, reads no wall clock and
// keeps a few numbers at most. The Book owns one set of rules per rocket and
// runs the life cycle of IEC 62682 over them: an alarm is raised, may be
// acknowledged, and returns to normal; one that returned to normal before
// anybody acknowledged it stays visible until somebody does.
//
// Every kind of alarm has a page in pages/<kind>.md which says what it means,
// what to do, how it is found and which thresholds move it. See Page and Kinds.
//
// The package may import decode and flight (types) and nothing else of ours
// that does I/O. Samples, states, events and ticks flow in; changes of alarms
// flow out. The same input gives the same output, byte for byte.
package alarm
