package store

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"github.com/nightshelf/nightshelf/ingest"
)

// applicationID marks our files: "NSHF" in big-endian ASCII.
const applicationID = 0x4e534846

// Layout of the first page, SQLite "Database File Format", section 1.3
// (https://www.sqlite.org/fileformat.html).
const (
	headerSize          = 100
	userVersionOffset   = 60
	applicationIDOffset = 68
)

var headerMagic = []byte("SQLite format 3\x00")

// identify looks at the file without opening it as a database, so that a file
// of somebody else is left exactly as it was. It reports whether there is a
// database of ours; false without an error means that one may be made there.
func identify(path string) (bool, error) {
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	if info.IsDir() {
		return false, fmt.Errorf("it is a folder: %w", ingest.ErrNotOurs)
	}
	if !info.Mode().IsRegular() {
		return false, fmt.Errorf("it is no regular file: %w", ingest.ErrNotOurs)
	}
	if info.Size() == 0 {
		return false, nil
	}
	return true, checkHeader(path)
}

func checkHeader(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	h := make([]byte, headerSize)
	if _, err := io.ReadFull(f, h); err != nil || !bytes.HasPrefix(h, headerMagic) {
		return fmt.Errorf("it is no SQLite file: %w", ingest.ErrNotOurs)
	}
	if id := binary.BigEndian.Uint32(h[applicationIDOffset:]); id != applicationID {
		return fmt.Errorf("its application id is 0x%08x: %w", id, ingest.ErrNotOurs)
	}
	return checkVersion(int(binary.BigEndian.Uint32(h[userVersionOffset:])), version)
}

func checkVersion(v, known int) error {
	if v > known {
		return fmt.Errorf("it is version %d, this program knows up to %d: %w", v, known, ingest.ErrNewer)
	}
	return nil
}
