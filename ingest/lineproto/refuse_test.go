package lineproto

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"github.com/nightshelf/nightshelf/ingest"
)

// mark stands in the input where a refusal must point.
const mark = "¶"

// unmarked takes the marks out of an input and returns their places.
func unmarked(in string) (payload []byte, places []string) {
	for i, l := range strings.Split(in, "\n") {
		if i > 0 {
			payload = append(payload, '\n')
		}
		for {
			column := strings.Index(l, mark)
			if column < 0 {
				break
			}
			places = append(places, fmt.Sprintf("%d:%d", i+1, column+1))
			l = l[:column] + l[column+len(mark):]
		}
		payload = append(payload, l...)
	}
	return payload, places
}

func TestRefused(t *testing.T) {
	const stamp = " 1764072000000000000"
	tests := []struct {
		name, in string
		options  Options
		kept     int // readings and entries
		reasons  []ingest.Reason
		detail   string // part of the first refusal's
	}{
		{"word", "¶rubbish", Options{}, 0, []ingest.Reason{ingest.Unreadable}, `unknown measurement "rubbish"`},
		{"another measurement", "¶weather,vessel=C07 od=1", Options{}, 0, []ingest.Reason{ingest.Unreadable},
			`line 1, column 1: unknown measurement "weather": want reading or event`},
		{"unknown field alone", "reading,vessel=C07 od=1,¶temp_r=3,ph=8" + stamp, Options{}, 2, []ingest.Reason{ingest.UnknownField},
			`unknown field "temp_r": did you mean temp_c, temp_f or temp_k?`},
		{"text for a number", `reading,vessel=C07 od=¶"a, b=c",ph=8` + stamp, Options{}, 1, []ingest.Reason{ingest.BadValue},
			`od="a, b=c" is no number that optical density can have`},
		{"yes for a number", "reading,vessel=C07 od=¶true,ph=8" + stamp, Options{}, 1, []ingest.Reason{ingest.BadValue}, "od=true"},
		{"nan as it is printed", "reading,vessel=C07 od=¶nan,temp_c=21.3,ph=¶-nan,par_umol=¶NaN,air_lpm=1.8" + stamp, Options{}, 2,
			[]ingest.Reason{ingest.BadValue, ingest.BadValue, ingest.BadValue}, "od=nan is no number that optical density can have"},
		{"infinite", "reading,vessel=C07 od=¶inf,ph=¶+Inf,temp_c=¶-Inf,par_umol=¶Infinity" + stamp, Options{}, 0,
			[]ingest.Reason{ingest.BadValue, ingest.BadValue, ingest.BadValue, ingest.BadValue}, "od=inf"},
		{"word at the end of a line", "reading,vessel=C07 ph=7,od=¶null\r\nreading,vessel=C07 od=¶null", Options{}, 1,
			[]ingest.Reason{ingest.BadValue, ingest.BadValue}, "od=null"},
		{"unknown field with nan", "reading,vessel=C07 ¶foo=nan,ph=8" + stamp, Options{}, 1, []ingest.Reason{ingest.UnknownField}, `"foo"`},
		{"too large a number", "reading,vessel=C07 od=¶1e400,ph=8" + stamp, Options{}, 1, []ingest.Reason{ingest.BadValue}, "od=1e400"},
		{"too large once converted", "reading,vessel=C07 klux=¶1e306,ph=8" + stamp, Options{}, 1, []ingest.Reason{ingest.BadValue}, "klux=1e306"},
		{"too large an integer", "reading,vessel=C07 od=¶9223372036854775808i,ph=8" + stamp, Options{}, 1, []ingest.Reason{ingest.BadValue}, "od=9223372036854775808i"},
		{"percent as a fraction", "reading,vessel=C07 od_t=¶41.2,ph=8" + stamp, Options{}, 1, []ingest.Reason{ingest.BadValue}, "od_t=41.2"},
		{"number with a unit", "reading,vessel=C07 temp_c=¶21.3C,ph=8" + stamp, Options{}, 1, []ingest.Reason{ingest.BadValue}, "temp_c=21.3C"},
		{"bad value leaves the good one before it", "reading,vessel=C07 od=1,od=¶t" + stamp, Options{}, 1, []ingest.Reason{ingest.BadValue}, "od=t"},
		{"column behind escapes and texts", `reading,vessel=a\ b\,c,x=\=y  ¶\,k\=k="q,\" z=",` + "¶foo=1" + stamp, Options{}, 0,
			[]ingest.Reason{ingest.UnknownField, ingest.UnknownField}, `",k=k"`},
		{"column behind blanks", "   reading,vessel=C07   ¶foo=1,od=1" + stamp, Options{}, 1, []ingest.Reason{ingest.UnknownField}, `"foo"`},
		{"no vessel", "¶reading od=1" + stamp, Options{}, 0, []ingest.Reason{ingest.BadVessel}, "no vessel named: the tag vessel is missing"},
		{"vessel as a field", "¶reading vessel=\"C07\",od=1" + stamp, Options{}, 0, []ingest.Reason{ingest.BadVessel}, "no vessel named"},
		{"empty vessel", "reading,vessel=¶ od=1" + stamp, Options{}, 0, []ingest.Reason{ingest.Unreadable}, "expected tag value"},
		{"long vessel", "¶reading,vessel=" + strings.Repeat("x", 65) + " od=1", Options{}, 0, []ingest.Reason{ingest.BadVessel}, "cannot name a vessel"},
		{"control character", "reading,vessel=C¶\x0107 od=1", Options{}, 0, []ingest.Reason{ingest.Unreadable}, ""},
		{"two vessels", "¶reading,vessel=C07,vessel=C08 od=1", Options{}, 0, []ingest.Reason{ingest.BadVessel}, `two vessels named, "C07" and "C08"`},
		{"no fields", "reading,vessel=C07¶", Options{}, 0, []ingest.Reason{ingest.Unreadable}, "expected field key"},
		{"half a field", "reading,vessel=C07 od=¶", Options{}, 0, []ingest.Reason{ingest.Unreadable}, "expected field value"},
		{"no value between", "reading,vessel=C07 od=¶,ph=7", Options{}, 0, []ingest.Reason{ingest.Unreadable}, ""},
		{"cut in the tag", "reading,vessel=C07,¶zo", Options{}, 0, []ingest.Reason{ingest.Unreadable}, ""},
		{"bad end takes the fields along", "reading,vessel=C07 od=1,foo=2,ph=nan 1764072000000000000 ¶x", Options{}, 0,
			[]ingest.Reason{ingest.Unreadable}, "unexpected text after timestamp"},
		{"stamp of letters", "reading,vessel=C07 od=1 ¶today", Options{}, 0, []ingest.Reason{ingest.Unreadable}, "today"},
		{"stamp with a point", "reading,vessel=C07 od=1 ¶1764072000.5", Options{}, 0, []ingest.Reason{ingest.Unreadable}, "1764072000.5"},
		{"stamp of signs", "reading,vessel=C07 od=1 ¶--5", Options{}, 0, []ingest.Reason{ingest.Unreadable}, `"--5" is no whole number`},
		{"stamp out of range", "reading,vessel=C07 od=1 ¶99999999999999999999", Options{}, 0, []ingest.Reason{ingest.BadTime}, "out of range"},
		{"stamp in milliseconds", "reading,vessel=C07 od=1,foo=2 ¶1764072000000 ", Options{}, 0, []ingest.Reason{ingest.BadTime},
			"(1764072000000 looks like milliseconds: set precision: ms)"},
		{"stamp in nanoseconds", "reading,vessel=C07 od=1 ¶1764072000000000000", Options{Precision: ingest.Seconds}, 0,
			[]ingest.Reason{ingest.BadTime}, "looks like nanoseconds: set precision: ns"},
		{"two hours ahead", "reading,vessel=C07 od=1 ¶1764079200000000000", Options{}, 0, []ingest.Reason{ingest.BadTime}, "2h0m0s ahead of"},
		{"a wider window", "reading,vessel=C07 od=1 1764079200000000000", Options{Window: ingest.Window{Ahead: 3 * 3600e9}}, 1, nil, ""},
		{"one bad line of three", "reading,vessel=C07 od=1\n¶x\nreading,vessel=C07 od=2", Options{}, 2, []ingest.Reason{ingest.Unreadable}, "line 2, column 1"},
		{"open quote ends with its line", "event,vessel=C07,kind=remark text=¶\"pale\nreading,vessel=C07 od=1\nevent,vessel=C07,kind=remark text=\"green\"", Options{}, 2,
			[]ingest.Reason{ingest.Unreadable}, "expected closing quote"},
		{"stray carriage return", "reading,vessel=C07 od=1 ¶\rreading,vessel=C08 od=2\nreading,vessel=C09 od=3", Options{}, 1, []ingest.Reason{ingest.Unreadable}, ""},
		{"bytes of another alphabet", "reading,vessel=C07 od=1\nreading,vessel=S¶\xe4ule od=2\nreading,vessel=C07 od=3", Options{}, 2,
			[]ingest.Reason{ingest.NotUTF8}, "line 2, column 17: bytes that are no UTF-8 text"},
		{"no kind", "¶event,vessel=C07 volume_l=6", Options{}, 0, []ingest.Reason{ingest.BadEntry}, "the tag kind is missing"},
		{"unknown kind", "¶event,vessel=C07,kind=harvset volume_l=6", Options{}, 0, []ingest.Reason{ingest.BadEntry},
			`unknown kind of entry "harvset": known are fill, chlorinate`},
		{"entry with nan", "event,vessel=C07,kind=count cells_per_ml=¶nan,a=1", Options{}, 0, []ingest.Reason{ingest.BadValue}, `value "nan"`},
		{"entry with too large a number", "event,vessel=C07,kind=count n=1,cells_per_ml=¶1e400,a=1", Options{}, 0, []ingest.Reason{ingest.BadValue}, `value "1e400"`},
		{"entry with unquoted text", "event,vessel=C07,kind=remark text=¶pale", Options{}, 0, []ingest.Reason{ingest.BadValue}, `value "pale" is no finite number, no quoted text`},
		{"written in milliseconds", "event,vessel=C07,kind=look a=1,written_at=¶1764072000000i", Options{}, 0, []ingest.Reason{ingest.BadTime},
			"written_at=1764072000000i, always in nanoseconds"},
		{"written as a float", "event,vessel=C07,kind=look written_at=¶1764072000000000000", Options{}, 0, []ingest.Reason{ingest.BadTime}, "with an i behind"},
		{"written out of range", "event,vessel=C07,kind=look written_at=¶18446744073709551615u", Options{}, 0, []ingest.Reason{ingest.BadTime}, "written_at"},
		{"who is a number", "event,vessel=C07,kind=look who=¶7", Options{}, 0, []ingest.Reason{ingest.BadValue}, "who=7: want a quoted text"},
		{"long text", `event,vessel=C07,kind=remark text=¶"` + strings.Repeat("x", MaxText+1) + `"`, Options{}, 0, []ingest.Reason{ingest.BadValue}, "text of 65537 bytes"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			payload, places := unmarked(tt.in)
			got := decoder(t, tt.options).Decode(payload, noon, noon)
			if n := len(got.Readings) + len(got.Entries); n != tt.kept {
				t.Errorf("kept %d: %v %v, want %d", n, got.Readings, got.Entries, tt.kept)
			}
			if len(got.Refused) != len(tt.reasons) || len(places) != len(tt.reasons) {
				t.Fatalf("refused %+v, want %v at %v", got.Refused, tt.reasons, places)
			}
			for i, f := range got.Refused {
				checkRefused(t, payload, f)
				if f.Reason != tt.reasons[i] || i == 0 && !strings.Contains(f.Detail, tt.detail) {
					t.Errorf("refused as %s: %s\nwant %s with %q", f.Reason, f.Detail, tt.reasons[i], tt.detail)
				}
				if place := fmt.Sprintf("%d:%d", f.Line, f.Column); place != places[i] {
					t.Errorf("refused at %s (%s), want %s", place, f.Detail, places[i])
				}
			}
		})
	}
}

// checkRefused checks what holds for every refusal of a line.
func checkRefused(t *testing.T, payload []byte, f ingest.Refused) {
	t.Helper()
	lines := bytes.Split(payload, []byte("\n"))
	if f.Line < 1 || f.Line > len(lines) {
		t.Fatalf("refused in line %d of %d: %s", f.Line, len(lines), f.Detail)
	}
	text := bytes.TrimSuffix(lines[f.Line-1], []byte("\r"))
	if f.Size != len(text) || !bytes.Equal(f.Input, text[:min(len(text), ingest.MaxRefusedInput)]) {
		t.Errorf("refused %q of %d bytes, want the line %q", f.Input, f.Size, text)
	}
	if f.Column < 1 || f.Column > len(text)+1 {
		t.Errorf("column %d in a line of %d bytes: %s", f.Column, len(text), f.Detail)
	}
	if f.Detail == "" || len(f.Detail) > maxDetail+64 || strings.Contains(f.Detail, "\n") {
		t.Errorf("detail of %d bytes is no sentence: %s", len(f.Detail), f.Detail)
	}
}

func TestTooLarge(t *testing.T) {
	d := decoder(t, Options{MaxPayload: 5000})
	line := []byte("reading,vessel=C07 od=1\n")
	payload := bytes.Repeat(line, 5000/len(line)+1)
	got := d.Decode(payload, noon, noon)
	if len(got.Readings) > 0 || len(got.Refused) != 1 {
		t.Fatalf("got %d readings, %d refusals", len(got.Readings), len(got.Refused))
	}
	f := got.Refused[0]
	if f.Reason != ingest.TooLarge || f.Line != 0 || f.Size != len(payload) || !bytes.Equal(f.Input, payload[:ingest.MaxRefusedInput]) ||
		f.Detail != "payload of 5016 bytes: at most 5000 are read" || !f.Arrived.Equal(noon) {
		t.Errorf("refused as %s, line %d, %d of %d bytes: %s", f.Reason, f.Line, len(f.Input), f.Size, f.Detail)
	}
	if got := d.Decode(payload[:5000-5000%len(line)], noon, noon); len(got.Refused) > 0 || len(got.Readings) != 5000/len(line) {
		t.Errorf("a payload within the limit: %d readings, refused %v", len(got.Readings), got.Refused)
	}
}

func TestManyBadFields(t *testing.T) {
	line := func(n int, value string) []byte {
		return []byte("reading,vessel=C07 od=1" + strings.Repeat(",foo="+value, n))
	}
	for _, value := range []string{"1", "nan"} {
		if got := decoder(t, Options{}).Decode(line(maxBadFields, value), noon, noon); len(got.Refused) != maxBadFields || len(got.Readings) != 1 {
			t.Errorf("%d bad fields: %d refused, %d kept", maxBadFields, len(got.Refused), len(got.Readings))
		}
		got := decoder(t, Options{}).Decode(line(100_000, value), noon, noon)
		if len(got.Readings) > 0 || len(got.Refused) != 1 || !strings.Contains(got.Refused[0].Detail, "more than 32 bad fields") {
			t.Errorf("a line of bad fields: %d readings, %d refusals", len(got.Readings), len(got.Refused))
		}
	}
}
