// Package storage is the home of the places where a station's data ends up. It
// has no code of its own: sqlite is the archive, export writes files from it,
// influx feeds a time-series server.
//
// Each may import bus, decode and flight. None imports another, except that
// export reads whatever has the archive's reading methods.
package storage
