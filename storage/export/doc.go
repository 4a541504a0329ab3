// Package export writes samples of an archive as files that other programs
// read. It imports storage/sqlite for the query and decode for the samples, and
// knows nothing of where the bytes go: the caller gives an io.Writer.
//
//	archive -> Samples (Source) -> a format's Write -> io.Writer
//
// Formats: CSV, Parquet, line protocol, GeoJSON and GPX.
// A format is one function; Formats lists them by name.
package export
