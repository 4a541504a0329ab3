// Package phrase keeps what is said to people apart from how it is said: a
// Phrase is a key with named quantities, and a Reader writes it once, at the
// edge, in a language and in metric units or feet.
//
// The texts stand in the catalogue (texts_*.go): one row a key, in each
// language. A text holds its quantities as {name}; {name#} is the number
// without its unit. A quantity that a text does not get is left out.
//
// The package imports nothing of ours. In flow phrases, out flow sentences; it
// does no I/O.
package phrase
