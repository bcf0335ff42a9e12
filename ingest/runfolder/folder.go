package runfolder

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/nightshelf/nightshelf/ingest"
)

// Folder is an opened run folder. It holds no open file.
type Folder struct {
	Dir     string
	Name    string          // last part of Dir
	Vessels []ingest.Vessel // in order of the file
	Lots    []ingest.Lot    // in order of the file
	events  string          // path; empty where nobody wrote anything
	reading string          // path
}

// Open reads vessels.csv and lots.csv of the folder and finds its other
// files. Columns it does not know are passed over and empty cells are
// unknown; every cell it cannot read is named in the error, one line each.
func Open(dir string) (*Folder, error) {
	f := &Folder{Dir: dir, Name: filepath.Base(filepath.Clean(dir))}
	if strings.HasSuffix(f.Name, Unfinished) {
		return nil, fmt.Errorf("open %s: %w", dir, ErrUnfinished)
	}
	if err := f.find(); err != nil {
		return nil, fmt.Errorf("open %s: %w", dir, err)
	}
	var vesselErr, lotErr error
	f.Vessels, vesselErr = readVessels(filepath.Join(dir, VesselsFile))
	f.Lots, lotErr = readLots(filepath.Join(dir, LotsFile))
	if err := errors.Join(vesselErr, lotErr); err != nil {
		return nil, err
	}
	return f, nil
}

func (f *Folder) find() error {
	for _, name := range []string{VesselsFile, LotsFile} {
		if !exists(filepath.Join(f.Dir, name)) {
			return fmt.Errorf("%w: no %s in it", ErrNotRunFolder, name)
		}
	}
	plain, packed := filepath.Join(f.Dir, ReadingsFile), filepath.Join(f.Dir, ReadingsFileGz)
	switch hasPlain, hasPacked := exists(plain), exists(packed); {
	case hasPlain && hasPacked:
		return fmt.Errorf("it holds both %s and %s, and only one can be meant", ReadingsFile, ReadingsFileGz)
	case hasPlain:
		f.reading = plain
	case hasPacked:
		f.reading = packed
	default:
		return fmt.Errorf("%w: no %s or %s in it", ErrNotRunFolder, ReadingsFile, ReadingsFileGz)
	}
	if events := filepath.Join(f.Dir, EventsFile); exists(events) {
		f.events = events
	}
	return nil
}

// exists leaves every trouble but absence to the one who opens the file.
func exists(path string) bool {
	_, err := os.Stat(path)
	return !errors.Is(err, fs.ErrNotExist)
}

// List returns the run folders at dir, by name: dir itself if it is one, or
// else those of its subfolders that are. Unfinished ones are left out.
func List(dir string) ([]string, error) {
	if isRunFolder(dir) {
		return []string{dir}, nil
	}
	subs, err := os.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("list run folders: %w", err)
	}
	var found []string
	for _, sub := range subs { // ReadDir sorts by name
		path := filepath.Join(dir, sub.Name())
		if !strings.HasSuffix(sub.Name(), Unfinished) && isRunFolder(path) {
			found = append(found, path)
		}
	}
	if len(found) == 0 {
		return nil, fmt.Errorf("list run folders in %s: %w: nor does it hold one", dir, ErrNotRunFolder)
	}
	return found, nil
}

func isRunFolder(dir string) bool {
	for _, name := range []string{VesselsFile, LotsFile} {
		if info, err := os.Stat(filepath.Join(dir, name)); err != nil || !info.Mode().IsRegular() {
			return false
		}
	}
	return true
}
