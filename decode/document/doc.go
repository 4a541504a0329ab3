// Package document picks values out of messages that name what they hold:
// JSON (RFC 8259), CBOR (RFC 8949) and MessagePack (its specification of 2017).
//
// What is picked is said by JSON Pointers (RFC 6901). A Picker is made of them
// once; then each message is gone through once and gives one Value for each
// pointer. Nothing of it refers to the message afterwards but the texts of the
// values, and it does no I/O.
//
// Memory is bounded by the message: JSON and MessagePack are read in place, and
// CBOR is unpacked by a library that is told how much it may make.
package document
