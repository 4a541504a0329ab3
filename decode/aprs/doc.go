// Package aprs reads the information field of AX.25 UI frames in the formats of
// the APRS Protocol Reference 1.0.1 (2000): positions, plain, compressed (chapters
// 6 to 9) and by the destination address (chapter 10), and telemetry (chapter 13).
// Objects, messages to people, weather and status are told apart and not read.
//
// Quantities come out in SI units, angles in degrees, NaN where a report does not
// tell them. The package is pure: it keeps nothing and refers to no frame but
// through the comment of a report.
package aprs
