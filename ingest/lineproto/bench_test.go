package lineproto

import (
	"bytes"
	"fmt"
	"testing"
)

// BenchmarkDecode reads lines of four quantities each, as a room sends them.
func BenchmarkDecode(b *testing.B) {
	for _, lines := range []int{1, 100} {
		var payload bytes.Buffer
		for i := range lines {
			fmt.Fprintf(&payload, "reading,vessel=C%02d od=0.412,temp_c=21.3,par_umol=92.5,air_lpm=1.8 %d\n", i%12, noon.UnixNano()+int64(i))
		}
		b.Run(fmt.Sprintf("lines=%d", lines), func(b *testing.B) {
			d := decoder(b, Options{})
			b.ReportAllocs()
			b.SetBytes(int64(payload.Len()))
			for b.Loop() {
				if got := d.Decode(payload.Bytes(), noon, noon); len(got.Readings) != 4*lines {
					b.Fatalf("%d readings: %v", len(got.Readings), got.Refused)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*lines), "ns/line")
		})
	}
}

// A steady stream must allocate for its readings and one decoder a line, and
// for nothing else.
func TestAllocations(t *testing.T) {
	const lines = 100
	payload := bytes.Repeat([]byte("reading,vessel=C07 od=0.412,temp_f=68,par_umol=92.5 1764072000000000000\n"), lines)
	d := decoder(t, Options{})
	got := testing.AllocsPerRun(20, func() { d.Decode(payload, noon, noon) })
	if got > lines+8 {
		t.Errorf("%v allocations for %d lines", got, lines)
	}
}
