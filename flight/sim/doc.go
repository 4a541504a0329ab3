// Package sim flies simulated boards: a scenario in, timed chunks of real
// frames out, as links would have heard them.
//
// A Scenario is data: the field, the links with their line rates and faults,
// the boards with their layouts, and when each rocket goes up. A Sim draws the
// flights from flight/ensemble, encodes every sample with the board's layout,
// frames it, sends it over the modelled link and yields ingest.Chunks in order
// of time. The same scenario and seed give the same bytes.
//
//	Scenario + seed -> ensemble.Flight -> decode.Message -> bytes -> framing
//	    -> link: losses, bit errors, line rate, reads of any size -> Chunk
//
// Truth tells what really happened, for comparison with what the station
// found.
//
// It may import decode, flight, flight/ensemble and ingest (its framing
// encoders and its Chunk). It does no I/O, reads no clock and starts no
// goroutine: whoever takes the chunks paces them, or does not.
package sim
