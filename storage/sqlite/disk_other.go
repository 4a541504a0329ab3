//go:build !unix

package sqlite

// diskFull is not known here; SQLITE_FULL has to do.
func diskFull(string) bool { return false }
