package snapshot

import (
	"fmt"
	"os"
	"time"
)

// Program tells one build of this program from another, for what one of them keeps and
// only the same one may use. It is empty where the program's file cannot be found.
func Program() string {
	path, err := os.Executable()
	if err != nil {
		return ""
	}
	info, err := os.Stat(path)
	if err != nil {
		return ""
	}
	return fmt.Sprintf("%d bytes of %s", info.Size(), info.ModTime().UTC().Format(time.RFC3339Nano))
}
