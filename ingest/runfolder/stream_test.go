package runfolder

import (
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"iter"
	"math/rand/v2"
	"strings"
	"testing"
)

// all joins what a stream delivers and fails at any error.
func all(t *testing.T, chunks iter.Seq2[Chunk, error]) string {
	t.Helper()
	var b strings.Builder
	for c, err := range chunks {
		if err != nil {
			t.Fatal(err)
		}
		b.Write(c.Data)
	}
	return b.String()
}

func pack(t *testing.T, text string) string {
	t.Helper()
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	if _, err := w.Write([]byte(text)); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func open(t *testing.T, readings, text string) *Folder {
	t.Helper()
	f, err := Open(folder(t, map[string]string{VesselsFile: vesselHead, LotsFile: lotHead, readings: text}))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func numbered(n int) string {
	r := rand.New(rand.NewPCG(1, 2)) // lines that a packer cannot shorten much
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "reading,vessel=C01 od=%v %d\n", r.Float64(), i+1)
	}
	return b.String()
}

func TestReadingsComeInWholeLinesWithTheirNumbers(t *testing.T) {
	text := numbered(3*ChunkLines + 7)
	for _, file := range []string{ReadingsFile, ReadingsFileGz} {
		content := text
		if file == ReadingsFileGz {
			content = pack(t, text[:100]) + pack(t, text[100:]) // two members, as after an append
		}
		f, line := open(t, file, content), 1
		var b strings.Builder
		for c, err := range f.Readings() {
			if err != nil {
				t.Fatal(err)
			}
			if c.Line != line {
				t.Errorf("%s: a chunk says it begins at line %d, want %d", file, c.Line, line)
			}
			if !bytes.HasSuffix(c.Data, []byte("\n")) {
				t.Errorf("%s: half a line", file)
			}
			line += bytes.Count(c.Data, []byte("\n"))
			b.Write(c.Data)
		}
		if b.String() != text {
			t.Errorf("%s: what came is not what is in the file", file)
		}
	}
}

func TestLastLineWithoutEndComes(t *testing.T) {
	if got := all(t, open(t, ReadingsFile, "a 1\nb 2").Readings()); got != "a 1\nb 2" {
		t.Errorf("got %q", got)
	}
}

func TestReadingsStopWhereNobodyWantsMore(t *testing.T) {
	n := 0
	for range open(t, ReadingsFile, numbered(2*ChunkLines)).Readings() {
		n++
		break
	}
	if n != 1 {
		t.Errorf("%d chunks", n)
	}
}

func TestLongLineIsLeftOutAlone(t *testing.T) {
	long := strings.Repeat("x", 3*MaxLine)
	f := open(t, ReadingsFile, "a 1\n"+long+"\nb 2\n"+long)
	var got strings.Builder
	var places []int
	for c, err := range f.Readings() {
		if err == nil {
			got.Write(c.Data)
			continue
		}
		var place *PlaceError
		if !errors.As(err, &place) || !errors.Is(err, ErrLineTooLong) || !strings.HasPrefix(place.Input, "xxx") {
			t.Fatalf("%v", err)
		}
		places = append(places, place.Line)
	}
	if got.String() != "a 1\nb 2\n" || fmt.Sprint(places) != "[2 4]" {
		t.Errorf("got %q, long lines at %v", got.String(), places)
	}
}

func TestLongestLineComes(t *testing.T) {
	text := strings.Repeat("x", MaxLine-1) + "\nb 2\n"
	if got := all(t, open(t, ReadingsFile, text).Readings()); got != text {
		t.Errorf("%d of %d bytes", len(got), len(text))
	}
}

func TestPackedFileCutShortGivesWhatIsBeforeTheCut(t *testing.T) {
	text := numbered(5000)
	packed := pack(t, text)
	for _, cut := range []int{0, 5, len(packed) / 3, len(packed) - 1} {
		var got strings.Builder
		var last error
		for c, err := range open(t, ReadingsFileGz, packed[:cut]).Readings() {
			if last != nil {
				t.Fatalf("cut at %d: something came after %v", cut, last)
			}
			last = err
			got.Write(c.Data)
		}
		if !errors.Is(last, ErrCutShort) {
			t.Fatalf("cut at %d: %v", cut, last)
		}
		if !strings.HasPrefix(text, got.String()) || got.Len() > 0 && !strings.HasSuffix(got.String(), "\n") {
			t.Errorf("cut at %d: what came is not the beginning in whole lines", cut)
		}
		var place *PlaceError
		if want := strings.Count(got.String(), "\n") + 1; !errors.As(last, &place) || place.Line != want {
			t.Errorf("cut at %d: place %v, want line %d", cut, last, want)
		}
		if cut == len(packed)/3 && got.Len() < len(text)/4 {
			t.Errorf("only %d of %d bytes came before the cut at a third", got.Len(), len(text))
		}
	}
}
