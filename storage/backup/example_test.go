package backup_test

import (
	"fmt"

	"padlark/storage/backup"
)

// How much a copy holds.
func ExampleList_Bytes() {
	list := backup.List{Files: []backup.File{{Name: "padlark.db", Bytes: 4096}, {Name: "journal/20260502-100000.plj", Bytes: 512}}}
	fmt.Println(len(list.Files), "files,", list.Bytes(), "bytes")
	// Output: 2 files, 4608 bytes
}
