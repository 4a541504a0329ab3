// Package ingest hears the rockets: it owns the links that bytes come from
// and the framing that cuts bytes into messages. It imports nothing of ours.
//
// What flows through, for each link:
//
//	serial, udp, tcp, tnc, file, stdin
//	    | Chunk   the bytes of one read, and when the last of them was heard
//	    |-------> CaptureWriter   (optional: keeps every chunk as it came)
//	  Framer      line, COBS, SLIP, KISS, sync word, datagram
//	    | Message                 | reject: counted by reason, last 16 kept
//	  Receiver    numbers them, adds the times
//	    | Frame   to the callback of the station, which may block
//
// Three words. A chunk is what one read gave: its borders mean nothing, unless
// it is a datagram. A message is what the sender sent, without delimiter and
// stuffing, its checksum still on it. A frame is a message with its link, its
// number and its times.
//
// Nothing is dropped in silence. A callback that blocks holds up the link it is
// called from, and then the operating system's own buffer fills. Whatever
// framing throws away is counted under a reason and can be looked at in Health.
//
// Times come from a Clock that is passed in: monotonic time since the
// session's epoch, so that what the system clock does cannot make them step.
//
// A link never gives up. It says so once when it loses its port, waits with a
// growing pause, and says so once when it is back.
package ingest
