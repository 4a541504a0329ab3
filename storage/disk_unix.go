//go:build unix

package storage

import "syscall"

// Free is how many bytes an ordinary user may still write to the file system
// of a folder; ok is false where that is not known.
func Free(dir string) (bytes int64, ok bool) {
	var st syscall.Statfs_t
	if syscall.Statfs(dir, &st) != nil {
		return 0, false
	}
	return int64(st.Bavail) * int64(st.Bsize), true
}
