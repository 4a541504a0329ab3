// Package boardtest is a simulated board on the bench, good or with one defect,
// for showing that a checkup finds what is wrong and nothing that is not.
//
// A Board is left alone, lifted, and has its pressure taken down and brought
// back in a jar, at times of its own. It runs an apogee rule, moves a servo
// and loads a cell. What comes out is framed bytes with the time at which they
// are sent: for a virtual clock, or for a real port in real time.
//
//	Options -> Board -> Sent{At, Bytes} ...
//
// It imports decode, flight and ingest (the framing encoders), and only tests import
// it. The same options give the same bytes. No I/O, no clock, no goroutine.
package boardtest
