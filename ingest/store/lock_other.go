//go:build !(linux || darwin || freebsd || netbsd || openbsd || dragonfly)

package store

import "os"

// acquire only makes the side file: these systems have no advisory lock that
// ends with the process in the standard library.
func acquire(path string) (*os.File, error) {
	return os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o640)
}
