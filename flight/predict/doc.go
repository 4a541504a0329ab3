// Package predict asks the flight model what a launch should do and how sure
// that is: it flies the same launch many times with inputs drawn from their
// spread.
//
// It owns the spread of the inputs (spread.go), the checks that come before any
// flight (limits.go), the flights (run.go) and the result with its judgement of
// field, parachute and rail (result.go, judge.go). It imports flight/model and
// flight/atmos, and flight for how a rocket is configured (of.go). It does no I/O and is seeded: the same input gives the same
// result, digit for digit.
//
// What flows through: an Input goes in, a Result comes out. Every uncertain
// number is a Quantity: mean, standard deviation and the range that holds 90 of
// 100 flights. The spread is that of the inputs; what the model leaves out (see
// package model) is not in it.
//
// The package recommends no pressure. It asks for the pressure that the bottle
// is rated for and refuses to go on above it.
package predict
