//go:build !linux

package main

import "io"

func sysLog() io.Writer { return nil }
