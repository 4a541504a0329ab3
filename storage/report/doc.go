// Package report makes pages out of what the archive holds: one flight with
// everything that is known of it, a comparison of flights, a rocket's season,
// and the page of a checkup.
//
// It imports storage/sqlite, storage/results, decode and flight. In flow rows
// of the archive and computed results, out flow Page, Comparison and Season
// (plain data, ready for JSON) and from those HTML that prints on one sheet,
// SVG and PNG. Nothing is claimed that the data does not support: each number
// comes with its standard deviation and with how it was computed, and what is
// not known is left out and said.
package report
