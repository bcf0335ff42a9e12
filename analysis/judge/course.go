package judge

import (
	"math"
	"time"

	"github.com/nightshelf/nightshelf/analysis/expect"
	"github.com/nightshelf/nightshelf/analysis/track"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// hourly is the sum of what was seen of one quantity in the hour that runs.
type hourly struct {
	Sum float64
	N   int32
}

func (h *hourly) add(v float64) { h.Sum, h.N = h.Sum+v, h.N+1 }

func (h *hourly) mean() float64 {
	if h.N == 0 {
		return math.NaN()
	}
	return h.Sum / float64(h.N)
}

// course is the lot held against how it should grow, hour by hour.
type course struct {
	Running        expect.Running
	Hour           int64 // the hour that runs, since 1970; 0: no lot yet
	Par, Temp, Air hourly
	Shift          float32 // what track had taken out when it was last looked at
	Blank          float64
	Noise          float64 // standard deviation of an hour's od in standing medium
	Stirred        [stirs]stir
	Gaps           gaps  // as of the newest whole hour
	Now            gaps  // the short ones, as of Bin
	Bin            int32 // of track's
	Lacks          Cusum // what the lot lacks every few hours, summed up
	Ripe           int64 // Unix ms since when it is ready for harvest, 0: it is not
	Near           bool  // it is nearly
}

// stir is a step that settled cells made, which track takes out of the course
// and which belongs to it.
type stir struct {
	At int64   // Unix ms; 0: none
	By float32 // of the log density
}

// stirs is how many are remembered: twice down and up again within three days.
const stirs = 4

// unstirred is what the steps that settled cells made by then add up to.
func (c *course) unstirred(ms int64) float64 {
	sum := 0.0
	for _, s := range c.Stirred {
		if s.At != 0 && s.At <= ms {
			sum += float64(s.By)
		}
	}
	return sum
}

// gaps are those of all windows.
type gaps struct {
	All       [len(expect.Windows)]expect.Gap
	Low, High float64 // the furthest of them, standard errors
}

func gapsOf(all [len(expect.Windows)]expect.Gap) gaps {
	g := gaps{All: all}
	for _, gap := range all {
		if gap.Hours > 0 {
			g.Low, g.High = math.Min(g.Low, gap.Z()), math.Max(g.High, gap.Z())
		}
	}
	return g
}

// leastLimit is below every limit: gaps within it need no second look.
const leastLimit = 2

const hourMs = int64(time.Hour / time.Millisecond)

// remembered is for how many hours track keeps densities.
const remembered = 48

// litres is what a vessel holds of which nobody said it: a carboy.
const litres = 10

// strain is what is held of the lot's strain in its medium.
func (b *bench) strain() expect.Strain {
	var lib expect.Library
	if b.Courses != nil {
		lib = *b.Courses
	}
	return lib.Strain(b.Track.Strain, b.Track.Medium)
}

func (b *bench) volume() float64 {
	if b.Vessel.VolumeL > 0 {
		return b.Vessel.VolumeL
	}
	return litres
}

// follow lets the lot's course go on with the time; what surrounds it is
// looked at each minute.
func (b *bench) follow() {
	c := &b.Course
	hour := b.now / hourMs
	if c.Hour == 0 {
		b.begin(hour)
	}
	b.look(unit.Light, &c.Par)
	b.look(unit.Temperature, &c.Temp)
	b.look(unit.Airflow, &c.Air)
	b.amend()
	if hour <= c.Hour {
		b.glance(hour)
		return
	}
	s := b.strain()
	for ; c.Hour < hour; c.Hour++ {
		b.pass(&s, c.Hour)
	}
	c.Gaps = gapsOf(c.Running.Gaps(&s))
	c.Now = c.Gaps
	c.sumUp()
	b.ripen()
}

// Band returns where the lot's density should have been and will be, see
// expect.Running.Band; nothing without a lot.
func (s *State) Band(courses *expect.Library, t *track.State, ahead int) []expect.Band {
	if s.Course.Hour == 0 || t.Lot == "" || s.Lot != t.Since {
		return nil
	}
	var lib expect.Library
	if courses != nil {
		lib = *courses
	}
	strain := lib.Strain(t.Strain, t.Medium)
	return s.Course.Running.Band(&strain, time.UnixMilli(s.Course.Hour*hourMs).UTC(), ahead)
}

func (b *bench) look(q unit.Quantity, h *hourly) {
	if b.fresh(q) {
		h.add(b.Track.Newest[q].Median())
	}
}

// begin starts the course of a lot. One that is entered late has gone through
// hours already, which are taken from what track keeps.
func (b *bench) begin(hour int64) {
	c, t, s := &b.Course, b.Track, b.strain()
	first := t.Since/hourMs + 1
	c.Noise = leastWander
	blank := math.Min(t.BlankNoise, track.UnknownBlank)
	if noise, n := b.standing(first - 1); n >= standingLeast {
		c.Noise = noise
		// Noise that lasts for hours leaves a quarter of them to tell.
		blank = noise / math.Sqrt(float64(n)/4)
	}
	// What nobody saw begin has long settled in.
	settled := t.Lot == track.Unnamed || hour-first > remembered
	c.Running, c.Hour = s.Begin(b.volume(), blank, settled), hour
	if !settled {
		c.Hour = min(first, hour)
	}
	c.Shift, c.Blank = t.Shift, t.Blank
	for ; c.Hour < hour; c.Hour++ {
		b.pass(&s, c.Hour)
	}
}

// pass lets one whole hour pass.
func (b *bench) pass(s *expect.Strain, hour int64) {
	c := &b.Course
	seen, sigma, step := b.level(hour)
	dense := math.Exp(seen - float64(b.Track.Shift) - c.unstirred(b.now))
	if b.hidden(hour) {
		seen = math.NaN()
	}
	c.Running.Take(s, b.volume(), b.around(hour), seen, sigma, dense, step, !b.suspect())
	c.Par, c.Temp, c.Air = hourly{}, hourly{}, hourly{}
}

// level is the log density of a whole hour with all steps out of it.
func (b *bench) level(hour int64) (log, sigma, step float64) {
	last := int32((hour+1)*hourMs/track.BinLength.Milliseconds()) - 1
	log, white, ok := b.Track.Level(last, int32(time.Hour/track.BinLength))
	if !ok {
		return math.NaN(), math.NaN(), 0
	}
	log += b.Course.unstirred((hour+1)*hourMs - hourMs/2)
	// What a probe strays by over hours is constant in od, see wander.
	thin := math.Exp(float64(b.Track.Shift) + b.Course.unstirred(b.now) - log)
	sigma = math.Hypot(white, b.Course.Noise*thin)
	for _, k := range b.Track.Taken {
		if k.Index != 0 && int64(k.Index)/hourBins == hour {
			step += float64(k.Error) * float64(k.Error)
		}
	}
	return log, sigma, step
}

// hidden reports whether the probe did not see the culture as it is in that
// hour: settled, worked on, or by a probe that accuses itself.
func (b *bench) hidden(hour int64) bool {
	from, to := hour*hourMs, (hour+1)*hourMs
	settled := b.AirBad-b.AirFrom >= settlesIn.Milliseconds() && b.AirBad+afterAir.Milliseconds() > from && b.AirFrom < to
	return settled || b.ODBad >= from || b.Track.Working()
}

// around is what surrounded the vessel in the hour that is over; what was not
// measured is as it was set, or as it is in most rooms.
func (b *bench) around(hour int64) expect.Hour {
	c, v := &b.Course, b.Vessel
	h := expect.Hour{Par: c.Par.mean(), TempC: c.Temp.mean(), Vvm: c.Air.mean() / b.volume()}
	if math.IsNaN(h.Par) {
		h.Par = expect.UsualPar
		if v.ParUmol > 0 {
			h.Par = v.ParUmol
		}
		if lit := v.Lit(time.UnixMilli(hour*hourMs + hourMs/2)); !math.IsNaN(lit) {
			h.Par *= lit
		}
	}
	if math.IsNaN(h.TempC) && v.TempC > 0 {
		h.TempC = v.TempC
	}
	if math.IsNaN(h.Vvm) && v.AirLpm > 0 {
		h.Vvm = v.AirLpm / b.volume()
	}
	return h
}

// amend looks again at the hours that have taught nothing yet, where a step was
// found or explained in them since.
func (b *bench) amend() {
	c, t := &b.Course, b.Track
	if c.Shift == t.Shift && c.Blank == t.Blank {
		return
	}
	if hit, open := t.Question(); open && c.Shift != t.Shift && b.settled(hit.At) {
		copy(c.Stirred[:], c.Stirred[1:])
		c.Stirred[stirs-1] = stir{At: hit.At, By: c.Shift - t.Shift}
	}
	c.Shift, c.Blank = t.Shift, t.Blank
	for back := range min(c.Running.Hours-c.Running.From, expect.Kept-1) {
		if !c.Running.Seen(back) {
			continue
		}
		seen, sigma, step := b.level(c.Hour - 1 - int64(back))
		c.Running.Amend(back, seen, sigma, step)
	}
}

// suspect reports whether the lot may be behind its course, so that what it does
// now must teach nothing. What runs ahead of it shows within a day, long before
// it teaches.
func (b *bench) suspect() bool {
	if b.Held[crashing] != 0 || b.Held[stalled] != 0 || b.Held[grown] != 0 || b.Held[filmed] != 0 {
		return true
	}
	for _, g := range b.Course.Gaps.All {
		if g.Hours > 0 && g.Z() < -suspectFrom {
			return true
		}
	}
	return false
}

// suspectFrom is from how many standard errors on a lot teaches nothing: what a
// healthy one passes on one day in a year.
const suspectFrom = 3
