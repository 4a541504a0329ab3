// Package smooth works a flight out after it, from all its samples at once:
// how high, when, how fast, when the release came, how fast it sank, each with
// a standard deviation that can be believed.
//
// # How
//
// The readings become heights above the pad (flight/atmos). A path is fitted
// to them: body drag and gravity up to the release, then a parachute that
// fills with the air it meets, then the ground. The path has nine parameters
// at most; it is anchored in height and speed, up and across, at the release and
// integrated from there both ways (path.go). The fit is least squares by Gauss-Newton
// steps with weights against outliers (fit.go).
//
// The readings are not independent: gusts last a second or two, and the level
// of the air and the sensor wanders. So residuals and derivatives go through
// the Kalman filter of that noise, which makes them white (noise.go). The level
// of the pad is part of the noise, not of the path: a long pad makes it well
// known, a short one badly, and the standard deviation of the apogee says so.
// How strong gusts and wander are is measured on the pad and after the landing,
// and corrected by how likely they make the residuals of the fit; between liftoff
// and release gusts show less, for there the rocket moves with what turns it.
//
// Three fits are made. The first finds the noise. The second, of all the
// coast, is followed back to the pad: an even boost from rest must meet it, and
// the readings around it say how long that boost was (boost.go). The third uses
// only the last seconds before the apogee and what follows (two where the vent may be a
// bad one, four where it is not): there drag and tilt matter little, and what is believed
// of the apogee does not hang on them.
//
// A release that nobody told is a mixture of fits, one for each moment at which it may
// have been and each way of filling (release.go); a pulse of the nose that more than one
// reading shows dates its command (nose.go).
//
// An accelerometer's axis, bias and range are found in its readings on the pad
// (force.go). It counts if what it reads of the coast agrees with the drag that the
// barometer leaves likely: then it tells the drag, and its thrust liftoff, burnout and
// greatest speed (push.go). The height of a satellite receiver tells the temperature of
// the air where that is not known as well (receiver.go). What lies is left out.
// Where a board sends nothing else its metres are the readings.
//
// # What the standard deviations mean
//
// Result holds totals. They contain what the readings leave open and what is
// systematic: the temperature of the site (0.35 % of the height per kelvin), a
// column of air that cools otherwise than by the standard, the linearity of the
// sensor. Series.ApogeeParts and Series.DescentReadingsSD tell them apart: two
// flights of one day share the systematic part, so compare them by the readings'
// part alone.
//
// # Series
//
// For plots the path is laid under a Rauch-Tung-Striebel smoother (series.go),
// which follows the readings where the path does not explain them.
//
// The package may import decode, flight, flight/atmos and flight/track. It does
// no I/O, reads no clock and starts no goroutine.
package smooth
