//go:build !linux

package station

// SystemClock cannot be asked here whether it is synchronised.
func SystemClock() (bool, string) { return false, "" }
