package store

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/bits"
)

// A pack is the readings of one series in one hour. It holds one version
// byte, the number of decimals (or rawValues), the count, then two columns:
// the times in ms since the start of the hour, and the values. Sensors speak
// in decimals, so a value is written as the whole number value * 10^decimals
// where that gives back every value bit for bit, otherwise as its 64 bits.
// A column is its first number, its smallest step, the width of a step above
// that in bits, and the steps in that many bits each.
const (
	packVersion = 1
	rawValues   = 255 // in place of the number of decimals
	maxDecimals = 9
)

const hourMs = 3_600_000

// encodePack writes samples, which are in order of time within the hour that
// starts at start (ms).
func encodePack(start int64, samples []sample) []byte {
	times := make([]int64, len(samples))
	for i, s := range samples {
		times[i] = s.ts - start
	}
	decimals, whole := wholeNumbers(samples)
	out := []byte{packVersion, decimals}
	out = binary.AppendUvarint(out, uint64(len(samples)))
	out = appendColumn(out, times)
	if decimals != rawValues {
		return appendColumn(out, whole)
	}
	for _, s := range samples {
		out = binary.LittleEndian.AppendUint64(out, math.Float64bits(s.value))
	}
	return out
}

var pow10 = [maxDecimals + 1]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9}

// wholeNumbers finds the fewest decimals that keep every value exactly.
func wholeNumbers(samples []sample) (byte, []int64) {
	whole := make([]int64, len(samples))
	d := 0
	for i := 0; i < len(samples); i++ {
		n, ok := wholeNumber(samples[i].value, d)
		if ok {
			whole[i] = n
			continue
		}
		if d++; d > maxDecimals {
			return rawValues, nil
		}
		i = -1 // from the start with one decimal more
	}
	return byte(d), whole
}

func wholeNumber(v float64, decimals int) (int64, bool) {
	scaled := math.Round(v * pow10[decimals])
	if math.Abs(scaled) >= 1<<53 {
		return 0, false
	}
	n := int64(scaled)
	return n, math.Float64bits(float64(n)/pow10[decimals]) == math.Float64bits(v)
}

func appendColumn(out []byte, column []int64) []byte {
	out = binary.AppendVarint(out, column[0])
	if len(column) == 1 {
		return out
	}
	least, most := int64(math.MaxInt64), int64(math.MinInt64)
	for i := 1; i < len(column); i++ {
		step := column[i] - column[i-1]
		least, most = min(least, step), max(most, step)
	}
	width := bits.Len64(uint64(most - least))
	out = binary.AppendVarint(out, least)
	out = append(out, byte(width))
	var word uint64 // bits that wait, lowest first
	filled := 0
	for i := 1; i < len(column); i++ {
		u := uint64(column[i] - column[i-1] - least)
		word |= u << filled
		filled += width
		for filled >= 8 {
			out = append(out, byte(word))
			word >>= 8
			filled -= 8
		}
		if filled > 0 && filled < width {
			word = u >> (width - filled) // what did not fit
		}
	}
	if filled > 0 {
		out = append(out, byte(word))
	}
	return out
}

func decodePack(start int64, data []byte) ([]sample, error) {
	d := decoder{rest: data}
	if v := d.byte(); d.err == nil && v != packVersion {
		return nil, fmt.Errorf("its encoding has the unknown version %d", v)
	}
	decimals := d.byte()
	n := d.uvarint()
	if d.err == nil && (n == 0 || n > hourMs || decimals > maxDecimals && decimals != rawValues) {
		return nil, fmt.Errorf("it claims %d readings with %d decimals", n, decimals)
	}
	samples := make([]sample, 0, n)
	before := int64(-1)
	for _, ms := range d.column(int(n)) {
		if ms <= before || ms >= hourMs {
			return nil, fmt.Errorf("a reading is %d ms into the hour after one at %d ms", ms, before)
		}
		before = ms
		samples = append(samples, sample{ts: start + ms})
	}
	if d.err != nil {
		return nil, d.err
	}
	if decimals == rawValues {
		for i := range samples {
			samples[i].value = d.float()
		}
		return samples, d.end()
	}
	for i, w := range d.column(int(n)) {
		samples[i].value = float64(w) / pow10[decimals]
	}
	return samples, d.end()
}

// column reads n numbers, nil after an error.
func (d *decoder) column(n int) []int64 {
	first := d.varint()
	if n == 1 && d.err == nil {
		return []int64{first}
	}
	least := d.varint()
	width := int(d.byte())
	if width > 56 {
		d.fail(fmt.Errorf("a step is %d bits wide", width))
	}
	packed := d.take((uint64(max(n, 1)-1)*uint64(width) + 7) / 8)
	if d.err != nil {
		return nil
	}
	column := make([]int64, n)
	column[0] = first
	at := 0 // in bits
	for i := 1; i < n; i++ {
		column[i] = column[i-1] + least + int64(bitsAt(packed, at, width))
		at += width
	}
	return column
}

// bitsAt reads width bits, at most 56, that begin at bit at.
func bitsAt(packed []byte, at, width int) uint64 {
	var word uint64
	for i, shift := at/8, 0; i < len(packed) && shift < 64; i, shift = i+1, shift+8 {
		word |= uint64(packed[i]) << shift
	}
	return word >> (at % 8) & (1<<width - 1)
}
