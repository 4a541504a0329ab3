// Package ground says where a rocket is, seen from its pad, and where it comes
// down: range, bearing and elevation on the WGS 84 ellipsoid, the ground track,
// and the landing spot with its error ellipse. It imports flight and decode, is
// pure, and allocates nothing in flight.
//
//	samples with a position | none
//	    | Step                | the site's wind
//	  Follower  pad, fixes of the descent, drift
//	    | flight.Position, flight.Landing
//
// The pad is where the rocket's own receiver put it before the liftoff, since a
// receiver's error hardly changes within minutes; without such fixes it is the
// site's place. After a flight Trace takes the same Follower through the samples
// with the times of the result.
package ground
