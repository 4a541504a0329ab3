package storage_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"padlark/storage"
)

// Of two that want the same archive, the second is told.
func ExampleLockFile() {
	dir, err := os.MkdirTemp("", "lock-")
	if err != nil {
		fmt.Println(err)
		return
	}
	path := filepath.Join(dir, "padlark.db")
	lock, err := storage.LockFile(path)
	if err != nil {
		fmt.Println(err)
		return
	}
	_, second := storage.LockFile(path)
	fmt.Println(second != nil)
	if err := errors.Join(lock.Unlock(), os.RemoveAll(dir)); err != nil {
		fmt.Println(err)
	}
	// Output: true
}
