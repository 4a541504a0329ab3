// Package track follows one rocket live: height and speed with their
// uncertainty at each sample, the phase of flight, the events, and the apogee
// before it is reached.
//
// # On the ground
//
// The pad level is a two-state Kalman filter (level and slope) over medians of
// one second (pad.go). It follows weather and a warming sensor without lag, and
// a door that closes moves nothing. It also learns how noisy single readings
// are and how strong the gusts. Liftoff (liftoff.go) must be told from what
// people do with a rocket before they launch it: carrying it, driving it up a
// hill, closing a car over it. A climb counts by its mean speed over a few
// tenths of a second and by a height that no gust of the size seen so far
// reaches. Liftoff is called some tenths of a second after it, and dated back:
// the level is taken from before, and the readings since are taken again as
// those of a flight. A water rocket's boost may have two readings or none; none
// is needed.
//
// A board that sends no pressure and no height of its own is followed by the height of
// its satellite receiver (source.go), with what that is worse by in each standard
// deviation; a barometer that is heard before a liftoff takes over.
//
// # In flight
//
// Three extended Kalman filters run side by side as an interacting multiple
// model (filter.go): boost (speed is a random walk, or what the accelerometer
// says), coast (gravity and body drag) and canopy (the same with the drag of a
// parachute). The state is height, speed, the logarithm of drag per mass, the
// gust in the reading, without which the filter would trust a windy day as much
// as a calm one, and what speed does to the vent (vent.go). Each reading counts by the probability that it is no
// outlier. When no mode explains the readings for a while (a vent that reads
// hundreds of metres low at high speed, a long gap) the filter starts again on
// the readings alone.
//
// An accelerometer helps to see the end of the thrust (force.go): along the axis that
// gravity has on the pad, and only once it has read what pulls the rocket back, so that
// one which sends a size without a sign, sticks or is dead changes nothing.
//
// # The call of the apogee
//
// The apogee is called when it is over with probability 0.8 and, with a
// probability below 1e-5, at least 0.1 s away (flightnow.go). With good readings
// the first decides, and the call comes some 50 ms late; with poor ones the
// second. Because the probability that the apogee is still to come is that of
// one event which either happened or not, its least value so far counts
// (Ville's inequality bounds how often a true one is ever given less). Two
// guards stand beside the filter: a parabola of curvature g through the last
// second alone must not still climb, and should the filter be lost, readings
// that fell for a good while make the call by themselves. In silence, ticks
// make it from the prediction. None comes before the speed is spent that the
// readings at burnout imply, whatever the vent does.
//
// A call that later readings refute, because they climb on well above it, is taken
// back (refute.go): an event withdrawn, the climb goes on, and the true apogee is
// another event of the flight, with a number behind its ID.
//
// A low flight of which nothing is heard from before the call of the liftoff until
// it is half way down is found by both its ends (gap.go); of its top is said what
// they leave open.
//
// # Standard deviations
//
// The filter knows the noise of the readings and what its modes leave out. What a
// person reads contains besides what moves slowly or not at all: the temperature of
// the site, the level of the pad as it wanders, the error of a vent at speed
// (honest.go). The rules here use the filter's own.
//
// # Other things that boards do
//
// Frames sent twice, values repeated by a board that sends faster than it
// measures, coarse steps, stamps out of order, reboots in flight, boards first
// heard in the air or while they come down, several flights without switching
// off: see the tests for each.
//
// # Contract
//
// It may import decode, flight (types) and flight/atmos (moist air), and nothing
// else of ours. Samples
// and ticks flow in, events and a state flow out. It does no I/O, reads no
// clock and starts no goroutine; the same samples and ticks give the same
// events, byte for byte. A sample costs no allocation unless it makes an event.
// Memory is the last 512 readings.
package track
