// Package storage is the home of the places where a station's data ends up. The
// journal is what must not be lost: what was heard, once, in order. The others
// follow it: sqlite is the archive, influx feeds a time-series server, export
// writes files from the archive.
//
// It owns what they share: the Entry that a follower of the journal is given,
// the lock that keeps a second process away, and how much room a disk has. Its
// sub-packages may import decode and flight; of each other only journal, and
// export reads whatever has the archive's reading methods.
package storage
