package lineproto

import (
	"bytes"
	"reflect"
	"testing"

	"github.com/nightshelf/nightshelf/ingest"
)

// FuzzDecode holds a payload against its lines read singly: they say the same,
// each line says something unless it is blank or a comment, what is kept is
// well-formed, and comes back when it is written and read again.
func FuzzDecode(f *testing.F) {
	for _, seed := range []string{
		"", "\n", "# x", "reading,vessel=C07 od=0.412,temp_c=21.3,par_umol=92.5,air_lpm=1.8 1764059400000000000",
		"event,vessel=C07,kind=harvest volume_l=6,refilled=true,written_at=1764059460000000000i 1764059400000000000",
		"reading,vessel=C07 od=nan,ph=NaN,temp_c=1e400,lux=-5i 1764059400000\r\nreading,vessel=C08 od=1\r\n",
		`event,vessel=C\ 7,kind=remark,who=x text="a \"b\" \\ \n",b=t,u=18446744073709551615u` + "\n# c\n\nx",
		"event,vessel=C07,kind=remark text=\"open\nreading,vessel=C07 od=1 \rreading,vessel=C07 od=1",
		"reading,vessel=a\\=b\\,c\\\\ k\\=k=\"x\",foo=1,od_t=41,od=", "\tx", "  reading,vessel=\xff od=1", "\x00",
		"reading,vessel=C07 od=1 --5\nreading,vessel=C07 od=1 99999999999999999999\nreading,vessel=C07,vessel=D od=1",
	} {
		f.Add([]byte(seed))
	}
	d := decoder(f, Options{})
	f.Fuzz(func(t *testing.T, payload []byte) {
		got := d.Decode(payload, noon, always)
		var want ingest.Batch
		for i, raw := range bytes.Split(payload, []byte("\n")) {
			b := d.Decode(raw, noon, always)
			checkLine(t, raw, b)
			for _, r := range b.Refused {
				r.Line = i + 1
				want.Refused = append(want.Refused, r)
			}
			want.Readings = append(want.Readings, b.Readings...)
			want.Entries = append(want.Entries, b.Entries...)
		}
		if len(got.Refused) != len(want.Refused) || len(got.Readings) != len(want.Readings) || !reflect.DeepEqual(got.Entries, want.Entries) {
			t.Fatalf("the payload gives %+v, its lines %+v", got, want)
		}
		for i, r := range got.Refused {
			checkRefused(t, payload, r)
			if r.Line != want.Refused[i].Line || r.Column != want.Refused[i].Column || r.Reason != want.Refused[i].Reason {
				t.Fatalf("the payload is refused at %+v, its line at %+v", r, want.Refused[i])
			}
		}
		checkKept(t, d, got)
	})
}

func checkLine(t *testing.T, raw []byte, b ingest.Batch) {
	t.Helper()
	said := len(b.Readings)+len(b.Entries)+len(b.Refused) > 0
	text := bytes.TrimSpace(raw)
	silent := len(text) == 0 || bytes.TrimLeft(raw, " ")[0] == '#'
	if said == silent {
		t.Fatalf("line %q: kept or refused is %t, blank or comment is %t", raw, said, silent)
	}
}

func checkKept(t *testing.T, d *Decoder, b ingest.Batch) {
	t.Helper()
	for _, r := range b.Readings {
		if !finite(r.Value) || !r.Quantity.Valid() || !ingest.ValidVesselName(r.Vessel) || r.At != ingest.Stamp(r.At) {
			t.Fatalf("kept reading %+v", r)
		}
	}
	lines, err := AppendReading(nil, b.Readings...)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range b.Entries {
		if lines, err = AppendEntry(lines, e); err != nil {
			t.Fatal(err)
		}
	}
	again := d.Decode(lines, noon, always)
	if len(again.Refused) > 0 || len(again.Readings) != len(b.Readings) || !reflect.DeepEqual(again.Entries, b.Entries) {
		t.Fatalf("%s\ncomes back as %+v, was %+v", lines, again, b)
	}
	for i, r := range again.Readings {
		if r != b.Readings[i] {
			t.Fatalf("%s\nreading comes back as %v, was %v", lines, r, b.Readings[i])
		}
	}
}
