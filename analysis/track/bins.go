package track

import (
	"math"
	"time"
)

const (
	// BinLength is the time over which raw densities are brought to one
	// median: long against bubbles, short against a crash.
	BinLength = 10 * time.Minute
	// fine is how many bins are kept one by one: eight hours, in which steps
	// are found, late entries looked for in the course, and rates of hours
	// taken. It is a multiple of perHalf.
	fine = int32(8 * time.Hour / BinLength)
	// perHalf is how many of them are brought to one median when they are older.
	perHalf = int32(30 * time.Minute / BinLength)
	// span is how far back bins tell, in bins: two days, so that every hour has
	// the same hour of the day before beside it.
	span = int32(48 * time.Hour / BinLength)
	// halves is how many half hours that takes beside the fine bins. The oldest
	// is there for the bins of it that are not two days old.
	halves = (span-fine)/perHalf + 1
	// rawMost is how many raw densities of one bin are looked at: one each
	// 20 s fits whole, and of faster ones as many, evenly spread.
	rawMost = 30
)

// Bin is one median of density.
type Bin struct {
	Index int32 // time over BinLength since 1970
	Count int16 // raw values in it, 63 at most; of an older one its bins; 0: it tells nothing
	Lamp  int8  // whether light fell on it: unknown, dark, lit
	// OD is the median of the raw od, Noise its standard error.
	OD, Noise float32
	// Shift is what must be added to the logarithm of the density to take
	// all steps since the start of the lot out of it.
	Shift float32
}

// od24 is an od as the upper 24 bits of its float32: 1 in 65,000, where the
// best probe resolves 1 in 10,000.
type od24 [3]uint8

func pack(od float32) od24 {
	b := math.Float32bits(od) + 0x80
	return od24{uint8(b >> 24), uint8(b >> 16), uint8(b >> 8)}
}

func (o od24) float() float32 {
	return math.Float32frombits(uint32(o[0])<<24 | uint32(o[1])<<16 | uint32(o[2])<<8)
}

// A noise is kept as its logarithm in a byte, in steps of a twelfth of an
// octave from noiseLeast on: to 3 per cent, from 1e-5 to 20 od.
const (
	noiseLeast = 1e-5 // od: far below what three decimals resolve
	noiseSteps = 12
)

var noises = func() (table [256]float32) {
	for i := range table {
		table[i] = float32(noiseLeast * math.Exp2(float64(i)/noiseSteps))
	}
	return table
}()

func packNoise(v float32) uint8 {
	return uint8(max(0, min(255, math.Round(noiseSteps*math.Log2(float64(v)/noiseLeast)))))
}

// FineBin is a bin as it is kept: od, noise, and in one byte its count and
// lamp. Its index is told by its place.
type FineBin struct {
	OD    od24
	Noise uint8
	Flags uint8 // count*4 + lamp+1; 0: not kept
}

// Half is a half hour of bins that are older.
type Half struct {
	OD    od24  // median of the bins that tell
	Noise uint8 // typical of one of them
	// Flags are how many bins it was made of, how many of them tell, how many
	// were lit and how many dark, two bits each.
	Flags uint8
}

func (h Half) kept() int32   { return int32(h.Flags & 3) }
func (h Half) told() int32   { return int32(h.Flags >> 2 & 3) }
func (h Half) lit() int32    { return int32(h.Flags >> 4 & 3) }
func (h Half) unlit() int32  { return int32(h.Flags >> 6) }
func (b FineBin) kept() bool { return b.Flags != 0 }
func (b FineBin) count() int16 {
	return int16(b.Flags >> 2)
}
func (b FineBin) lamp() int8 { return int8(b.Flags&3) - 1 }

// oldest is the index before which no bin is kept singly.
func (s *State) oldest() int32 { return s.Latest - fine + 1 }

func (s *State) fineAt(index int32) *FineBin { return &s.Fine[index%fine] }

// put makes b the newest bin. Those that leave the fine ones go into their
// half hours.
func (s *State) put(b Bin) {
	if b.Index-s.Latest > span+fine {
		s.Fine, s.Halves = [fine]FineBin{}, [halves]Half{}
		s.Latest = b.Index - 1
	}
	for s.Latest < b.Index {
		if gone := s.Latest + 1 - fine; gone > 0 && gone%perHalf == 0 {
			s.Halves[gone/perHalf%halves] = s.gather(gone / perHalf)
		}
		s.Latest++
		*s.fineAt(s.Latest) = FineBin{}
	}
	count := uint8(min(b.Count, 63))
	*s.fineAt(b.Index) = FineBin{OD: pack(b.OD), Noise: packNoise(b.Noise), Flags: count<<2 | uint8(b.Lamp+1)}
}

// gather brings the fine bins of a half hour to one. Those before the last
// step in it are left out.
func (s *State) gather(half int32) Half {
	var h Half
	var od [perHalf]float32
	var noise [perHalf]uint8
	kept, told, shines, unlit := uint8(0), 0, uint8(0), uint8(0)
	last := half*perHalf + perHalf - 1
	for i := half * perHalf; i <= last; i++ {
		b := *s.fineAt(i)
		if !b.kept() {
			continue
		}
		kept++
		switch b.lamp() {
		case lit:
			shines++
		case dark:
			unlit++
		}
		if b.count() > 0 && s.between(i, last) == 0 {
			od[told], noise[told] = b.OD.float(), b.Noise
			told++
		}
	}
	if told > 0 {
		small(od[:told])
		small(noise[:told])
		h.OD, h.Noise = pack(median(od[:told])), noise[told/2]
	}
	h.Flags = kept | uint8(told)<<2 | shines<<4 | unlit<<6
	return h
}

// halfAt is a half hour, whether its bins are still kept singly or not.
func (s *State) halfAt(half int32) Half {
	if half*perHalf >= s.oldest() {
		if half*perHalf > s.Latest {
			return Half{}
		}
		return s.gather(half)
	}
	if half*perHalf+perHalf-1 <= s.Latest-span || half <= 0 {
		return Half{}
	}
	return s.Halves[half%halves]
}

// Bin returns the closed bin of that index and whether it is kept. One of more
// than eight hours ago is that of its half hour.
func (s *State) Bin(index int32) (Bin, bool) {
	if index <= 0 || index > s.Latest || index <= s.Latest-span {
		return Bin{}, false
	}
	if index >= s.oldest() {
		b := *s.fineAt(index)
		if !b.kept() {
			return Bin{}, false
		}
		return Bin{Index: index, Count: b.count(), Lamp: b.lamp(), OD: b.OD.float(), Noise: noises[b.Noise], Shift: s.shift(index)}, true
	}
	half := index / perHalf
	h := s.Halves[half%halves]
	if index%perHalf >= h.kept() { // as many are told of as there were
		return Bin{}, false
	}
	b := Bin{Index: index, Count: int16(h.told()), OD: h.OD.float(), Noise: noises[h.Noise], Shift: s.shift(half*perHalf + perHalf - 1)}
	if h.lit()+h.unlit() == h.kept() {
		if b.Lamp = dark; h.lit() > h.unlit() {
			b.Lamp = lit
		}
	}
	return b, true
}

// drop makes a bin tell nothing.
func (s *State) drop(index int32) {
	if index > s.Latest || index <= s.Latest-span || index <= 0 {
		return
	}
	if index >= s.oldest() {
		b := s.fineAt(index)
		b.Flags &= 3
		return
	}
	s.Halves[index/perHalf%halves].Flags &^= 3 << 2
}

// shone is how much of a bin was lit, 0 to 1; ok is false where that is not
// known.
func (s *State) shone(index int32) (share float64, ok bool) {
	if index > s.Latest || index <= s.Latest-span || index <= 0 {
		return 0, false
	}
	if index >= s.oldest() {
		lamp := s.fineAt(index).lamp()
		if lamp == lit {
			share = 1
		}
		return share, lamp > darkUnknown
	}
	h := s.Halves[index/perHalf%halves]
	return float64(h.lit()) / float64(perHalf), h.lit()+h.unlit() == perHalf
}
