// Package model is the physics of a flight: a water rocket or a small rocket
// with a thrust-curve motor, from the first motion to touchdown.
//
// It owns the description of a rocket and of a launch (rocket.go), the nozzle
// (nozzle.go), the forces in each stage of a flight (forces.go), the
// integrator (integrate.go), the order of the stages (fly.go) and the result
// (trajectory.go). It imports flight (the phase names) and flight/atmos (the
// air), does no I/O, reads no clock and keeps no state between calls: the same
// input gives the same flight, and Fly may be called from many goroutines.
//
// What flows through: Fly takes a Rocket and a Launch in SI units and returns
// a Trajectory that can be asked for the state at any time, with marks for
// what happened when.
//
// # What is in the model
//
//   - launch tube: the rocket is a piston on the tube, (p - pa) times the area
//     of the tube; the tube is thin-walled and its bore is full of the air;
//   - water stage: the trapped air expands with p V^n constant, the water
//     leaves with sqrt(2 (p - pa) / rho); the mass of the water and of the air
//     is carried; a film of water may stay behind;
//   - air stage: isentropic flow through the nozzle, choked and then not, from
//     a bottle that empties with p proportional to m^n; what is left of it when
//     the jet has ended is carried on to the release;
//   - motor: thrust by straight lines between the given points; propellant
//     leaves in proportion to the impulse delivered;
//   - coast and descent: quadratic drag in air whose density falls with
//     height, a canopy that fills over a distance, wind that grows with height.
//
// # What is not
//
// The rocket is a point in a vertical plane. It does not turn into the wind
// (weathercocking); off the rail the thrust follows the path, and where there is
// no rail it points as the rocket stood until the fins work. The inertia of the
// water and its head in the accelerating bottle are left out: the two
// nearly cancel (TestWaterInertia: 0.1 % of the speed, 3 % of the water time).
// The buoyancy of the bottle is left out (1 to 2 % of the weight of a light one,
// which flies higher by as much), and so is what the body drags along of the air.
// Vapour that condenses while the air cools is left out
// too. The ground is level with the pad. Published comparisons of models of
// this kind with measured flights differ by about 6 % (Barrio-Perotti and
// others, Eur. J. Phys. 31 (2010) 1131, abstract) to 10 % (Yang and Houston,
// IAJC/ISAM 2016, abstract).
package model
