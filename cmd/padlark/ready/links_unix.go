//go:build unix

package ready

import (
	"io/fs"
	"os/user"
	"strconv"
	"syscall"

	"golang.org/x/sys/unix"
)

// mayUse says whether this user may read and write a device.
func mayUse(path string) bool { return unix.Access(path, unix.R_OK|unix.W_OK) == nil }

// groupOf is the group that owns a file, or what is given if it has no name.
func groupOf(st fs.FileInfo, usual string) string {
	if s, ok := st.Sys().(*syscall.Stat_t); ok {
		if g, err := user.LookupGroupId(strconv.FormatUint(uint64(s.Gid), 10)); err == nil {
			return g.Name
		}
	}
	return usual
}
