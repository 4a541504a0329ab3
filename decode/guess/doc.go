// Package guess looks at bytes that a board sent and proposes a layout for them:
// how they are cut into frames, what separates the fields, which checksum guards
// them, and what each field means and in which unit. It says how sure it is of
// each, and what it has to ask the person.
//
// Bytes in, guess out: Look does no I/O and reads no clock. It may import decode
// and ingest. What it proposes compiles and has been decoded with before it is
// told; it is never more than a proposal, because a number alone does not say
// what it measures.
package guess
