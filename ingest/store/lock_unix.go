//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package store

import (
	"errors"
	"os"
	"syscall"

	"github.com/nightshelf/nightshelf/ingest"
)

// acquire takes the exclusive advisory lock on the side file at path, and
// makes it where it is missing. The lock ends with the process, however that
// ends; the file stays, because removing it would race with the next one.
func acquire(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o640)
	if err != nil {
		return nil, err
	}
	for {
		err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
		if !errors.Is(err, syscall.EINTR) {
			break
		}
	}
	if err == nil {
		return f, nil
	}
	f.Close()
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return nil, ingest.ErrLocked
	}
	return nil, err
}
