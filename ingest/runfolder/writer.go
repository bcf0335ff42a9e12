package runfolder

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/nightshelf/nightshelf/ingest"
)

// Writer writes a run folder. It is for one goroutine. Nothing stands under
// the folder's own name before Close has returned nil.
type Writer struct {
	dir, work string
	events    *os.File
	eventsBuf *bufio.Writer
	readings  *os.File
	packed    *gzip.Writer
	tables    [2]bool // vessels and lots are written
	err       error   // the first that went wrong; then nothing is finished
}

// Create begins a run folder that will stand at dir. It refuses where
// something stands there already, or where the writing of it was broken off
// before or is under way.
func Create(dir string) (*Writer, error) {
	w := &Writer{dir: filepath.Clean(dir)}
	w.work = w.dir + Unfinished
	if _, err := os.Lstat(w.dir); !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("create run folder: %s: %w", dir, fs.ErrExist)
	}
	if err := os.MkdirAll(filepath.Dir(w.dir), 0o755); err != nil {
		return nil, fmt.Errorf("create run folder: %w", err)
	}
	if err := os.Mkdir(w.work, 0o755); errors.Is(err, fs.ErrExist) {
		return nil, fmt.Errorf("create run folder: %s is left from a writing that was broken off, or is under way: remove it first: %w", w.work, err)
	} else if err != nil {
		return nil, fmt.Errorf("create run folder: %w", err)
	}
	if err := w.open(); err != nil {
		return nil, errors.Join(fmt.Errorf("create run folder: %w", err), w.Abandon())
	}
	return w, nil
}

func (w *Writer) open() (err error) {
	if w.events, err = os.Create(filepath.Join(w.work, EventsFile)); err != nil {
		return err
	}
	w.eventsBuf = bufio.NewWriter(w.events)
	if w.readings, err = os.Create(filepath.Join(w.work, ReadingsFileGz)); err != nil {
		return err
	}
	w.packed = gzip.NewWriter(w.readings)
	return nil
}

// Readings appends whole lines of line protocol, in order of arrival.
func (w *Writer) Readings(lines []byte) error { return w.write("write readings", w.packed, lines) }

// Events appends whole lines of line protocol, in order of writing.
func (w *Writer) Events(lines []byte) error { return w.write("write entries", w.eventsBuf, lines) }

func (w *Writer) write(step string, to io.Writer, lines []byte) error {
	if w.err != nil {
		return w.err
	}
	if err := checkLines(lines); err != nil {
		return fmt.Errorf("%s: %w", step, err) // nothing was written: the rest can go on
	}
	if len(lines) > 0 {
		_, w.err = to.Write(lines)
	}
	return w.err
}

// checkLines sees to it that what is written can be read again.
func checkLines(lines []byte) error {
	for rest := lines; len(rest) > 0; {
		end := bytes.IndexByte(rest, '\n') + 1
		switch {
		case end == 0:
			return fmt.Errorf("a line without its end: %q", quote(rest))
		case end > MaxLine:
			return fmt.Errorf("%w: %q", ErrLineTooLong, quote(rest))
		}
		rest = rest[end:]
	}
	return nil
}

// Vessels writes vessels.csv. It must be called, at any time before Close;
// the last call counts. A vessel in the zone Local is refused: another machine
// would take it for another zone.
func (w *Writer) Vessels(all []ingest.Vessel) error {
	for _, v := range all {
		if v.Zone == time.Local {
			return fmt.Errorf("write vessels: %s: the zone of this machine has no name that others know", v.Name)
		}
	}
	return w.table(0, VesselsFile, vesselRows(all))
}

// Lots writes lots.csv. It must be called, at any time before Close; the last
// call counts.
func (w *Writer) Lots(all []ingest.Lot) error { return w.table(1, LotsFile, lotRows(all)) }

func (w *Writer) table(which int, name string, rows [][]string) error {
	if w.err == nil {
		w.err = writeTable(filepath.Join(w.work, name), rows)
		w.tables[which] = w.err == nil
	}
	return w.err
}

// Close finishes the folder, brings it to the disk and gives it its name. After an error the
// folder stays under its unfinished name; Abandon removes it.
func (w *Writer) Close() error {
	if w.err == nil && w.tables != [2]bool{true, true} {
		w.err = errors.New("vessels and lots were not both written")
	}
	w.err = errors.Join(w.err, w.eventsBuf.Flush(), w.packed.Close(), finish(w.events), finish(w.readings))
	if w.err == nil {
		w.err = w.rename()
	}
	if w.err != nil {
		return fmt.Errorf("finish run folder %s: %w", w.dir, w.err)
	}
	w.err = fs.ErrClosed
	return nil
}

// rename syncs the folder first, so that a name never stands over files that
// a power cut has taken back.
func (w *Writer) rename() error {
	if err := syncDir(w.work); err != nil {
		return err
	}
	if err := os.Rename(w.work, w.dir); err != nil {
		return err
	}
	return syncDir(filepath.Dir(w.dir))
}

// Abandon removes what was written so far. After Close has returned nil it
// does nothing.
func (w *Writer) Abandon() error {
	if errors.Is(w.err, fs.ErrClosed) {
		return nil
	}
	for _, file := range []*os.File{w.events, w.readings} {
		if file != nil {
			_ = file.Close() // it may be closed already, and its content goes
		}
	}
	w.err = errors.New("run folder was abandoned")
	return os.RemoveAll(w.work)
}

func finish(file *os.File) error { return errors.Join(file.Sync(), file.Close()) }

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return finish(d)
}
