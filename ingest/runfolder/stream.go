package runfolder

import (
	"bufio"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"strings"
)

// Chunk is a run of whole lines of one file.
type Chunk struct {
	File string // its path
	Line int    // number of its first line in the file, from 1
	Data []byte // up to ChunkLines lines, each with its end; belongs to the receiver
}

// Readings goes through the readings in order of arrival.
//
// An error that is [ErrLineTooLong] concerns one line, which is left out, and
// the lines behind it follow. Any other error is the last thing that comes;
// every whole line before it was delivered, also of a file that is cut short.
func (f *Folder) Readings() iter.Seq2[Chunk, error] { return chunks(f.reading) }

// Events goes through the entries in order of writing, as Readings does.
func (f *Folder) Events() iter.Seq2[Chunk, error] {
	if f.events == "" {
		return func(func(Chunk, error) bool) {}
	}
	return chunks(f.events)
}

func chunks(path string) iter.Seq2[Chunk, error] {
	return func(yield func(Chunk, error) bool) {
		file, err := os.Open(path)
		if err != nil {
			yield(Chunk{}, err)
			return
		}
		defer func() { _ = file.Close() }() // only read from
		r, err := unpacked(path, file)
		if err != nil {
			yield(Chunk{}, &PlaceError{File: path, Line: 1, Err: fmt.Errorf("%w: %w", ErrCutShort, err)})
			return
		}
		s := scanner{file: path, in: bufio.NewReaderSize(r, MaxLine), line: 1}
		for s.chunk(yield) {
		}
	}
}

func unpacked(path string, file io.Reader) (io.Reader, error) {
	if !strings.HasSuffix(path, ".gz") {
		return file, nil
	}
	return gzip.NewReader(bufio.NewReaderSize(file, MaxLine))
}

// scanner cuts a file into chunks.
type scanner struct {
	file string
	in   *bufio.Reader
	line int // number of the next line
}

// chunk yields the next chunk and what stopped it, and reports whether there
// is more to come and to be wanted.
func (s *scanner) chunk(yield func(Chunk, error) bool) bool {
	c := Chunk{File: s.file, Line: s.line}
	var stop error
	for n := 0; n < ChunkLines && stop == nil; n++ {
		var line []byte
		line, stop = s.next()
		c.Data = append(c.Data, line...)
	}
	if len(c.Data) > 0 && !yield(c, nil) {
		return false
	}
	switch {
	case stop == nil:
		return true
	case errors.Is(stop, io.EOF):
		return false
	}
	return yield(Chunk{}, stop) && errors.Is(stop, ErrLineTooLong)
}

// next returns the next line, valid until it is called again, or what is
// there instead of one. A last line without an end comes together with io.EOF.
func (s *scanner) next() ([]byte, error) {
	line, err := s.in.ReadSlice('\n')
	switch {
	case err == nil:
		s.line++
		return line, nil
	case errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF):
		return line, io.EOF
	case errors.Is(err, bufio.ErrBufferFull):
		e := &PlaceError{File: s.file, Line: s.line, Input: quote(line), Err: ErrLineTooLong}
		s.line++
		return nil, s.skip(e)
	}
	// Half a line is not delivered: its time stamp may have lost its end.
	return nil, &PlaceError{File: s.file, Line: s.line, Input: quote(line), Err: fmt.Errorf("%w: %w", ErrCutShort, err)}
}

// skip passes over the rest of a line that is too long and returns that
// error; whatever else goes wrong shows at the next call of next.
func (s *scanner) skip(tooLong error) error {
	for {
		if _, err := s.in.ReadSlice('\n'); !errors.Is(err, bufio.ErrBufferFull) {
			return tooLong
		}
	}
}
