// Package config reads the one configuration file of a station.
//
// It owns the file's shape and the checks between its tables; what a single
// link, layout or rocket may be is checked by the package that owns it. It is
// strict: an unknown key, a wrong unit or a contradiction is one error with the
// file, the line and the column, and says what to write instead. It does no
// other I/O than reading the file.
package config
