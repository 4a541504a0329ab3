//go:build !unix

package sqlite

// Free is not known here; SQLite's own word that the disk is full has to do.
func Free(string) (bytes int64, ok bool) { return 0, false }
