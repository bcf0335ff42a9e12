package room

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

var noon = time.Date(2026, 2, 3, 12, 0, 0, 0, time.UTC)

func carboy(name string) ingest.Vessel {
	return ingest.Vessel{Name: name, Kind: "carboy", VolumeL: 18, LightsOn: 6 * time.Hour, LightHours: 16 * time.Hour,
		LightShape: ingest.Square, ParUmol: 120, TempC: 20, TempBand: 3, AirLpm: 4, Interval: 2 * time.Minute,
		Expects: []ingest.Quantity{unit.OD, unit.Temperature, unit.Light, unit.Airflow}}
}

func staffed(t time.Time) bool { return t.Hour() >= 8 && t.Hour() < 18 }

func options(names ...string) Options {
	o := Options{Name: "Test room", FollowReadings: true, Staffed: staffed}
	for _, n := range names {
		o.Vessels = append(o.Vessels, carboy(n))
	}
	return o
}

func started(vessel string, at time.Time) ingest.Entry {
	return ingest.Entry{Vessel: vessel, Kind: ingest.Inoculate, At: at, Written: at, Fields: map[string]ingest.Value{
		"lot": ingest.Text("lot of " + vessel), "strain": ingest.Text("tetraselmis-suecica")}}
}

// sample is what the sensors of a healthy vessel say at t; alter may change it.
type alter func(t time.Time, v map[ingest.Quantity]float64)

func sample(vessel string, t, start time.Time, r *rand.Rand, change alter) []ingest.Reading {
	light := 0.0
	if h := t.Hour(); h >= 6 && h < 22 {
		light = 120
	}
	v := map[ingest.Quantity]float64{
		unit.OD:          0.08*math.Exp(grown(start, t)) + 0.0015*r.NormFloat64(),
		unit.Temperature: 20 + 0.2*r.NormFloat64(), unit.Light: light, unit.Airflow: 4 + 0.1*r.NormFloat64(),
	}
	if change != nil {
		change(t, v)
	}
	var out []ingest.Reading
	for _, q := range unit.All {
		if x, ok := v[q]; ok {
			out = append(out, ingest.Reading{Vessel: vessel, Quantity: q, Value: x, At: ingest.Stamp(t)})
		}
	}
	return out
}

// grown is what a culture gains in the logarithm from one time to another, 0.4
// a day: by the light of 6 to 22 h, and a little is lost in the dark.
func grown(from, to time.Time) float64 {
	const inDark = -0.1
	const inLight = (0.4*24 - inDark*8) / 16
	sum := func(t time.Time) float64 {
		midnight := t.Truncate(24 * time.Hour)
		h := t.Sub(midnight).Hours()
		lit := min(max(h-6, 0), 16)
		return 0.4*midnight.Sub(noon).Hours()/24 + (lit*inLight+(h-lit)*inDark)/24
	}
	return sum(to) - sum(from)
}

// stretch is a run of readings every two minutes.
func stretch(vessel string, from time.Time, length time.Duration, seed uint64, change alter) []ingest.Reading {
	r := rand.New(rand.NewPCG(seed, 1))
	var out []ingest.Reading
	for t := from; t.Before(from.Add(length)); t = t.Add(2 * time.Minute) {
		// Sensors do not wait for the whole minute.
		at := t.Add(time.Duration(r.IntN(90_000)) * time.Millisecond)
		out = append(out, sample(vessel, at, from, r, change)...)
	}
	return out
}

func digest(r *Room, readings []ingest.Reading, size int) Outcome {
	var out Outcome
	for part := range slices.Chunk(readings, size) {
		out.add(r.Digest(ingest.Batch{Readings: part}, noon))
	}
	return latest(out)
}

// latest keeps of an alarm that was told of twice in one state, such as once
// more when its call was decided, what was told last.
func latest(o Outcome) Outcome {
	var alarms []alerts.Alarm
	for _, a := range o.Alarms {
		i := slices.IndexFunc(alarms, func(b alerts.Alarm) bool { return a.ID == b.ID && a.State == b.State && a.Raised.Equal(b.Raised) })
		if i >= 0 {
			alarms[i] = a
		} else {
			alarms = append(alarms, a)
		}
	}
	o.Alarms = alarms
	return o
}

func raised(o Outcome) []string {
	var out []string
	seen := map[string]bool{} // an alarm is told of again once its call is decided
	for _, a := range o.Alarms {
		if again := a.ID + a.Raised.String(); a.State == alerts.Unacknowledged && !seen[again] {
			seen[again] = true
			out = append(out, fmt.Sprintf("%s %s %s", a.Vessel, a.Class, a.Raised.Format("15:04")))
		}
	}
	return out
}

func airOff(from, to time.Time) alter {
	return func(t time.Time, v map[ingest.Quantity]float64) {
		if !t.Before(from) && t.Before(to) {
			v[unit.Airflow] = 0.05
		}
	}
}

func TestAirStopsAtNight(t *testing.T) {
	off, on := noon.Add(14*time.Hour), noon.Add(16*time.Hour) // 02:00 to 04:00
	r := New(options("C01"))
	r.Digest(ingest.Batch{Entries: []ingest.Entry{started("C01", noon)}}, noon)
	out := digest(r, stretch("C01", noon, 20*time.Hour, 1, airOff(off, on)), 100)
	var states []alerts.State
	for _, a := range out.Alarms {
		if a.Class != analysis.Airflow {
			t.Errorf("an alarm of class %s: %s", a.Class, a.Finding.What)
		}
		states = append(states, a.State)
	}
	if want := []alerts.State{alerts.Unacknowledged, alerts.Returned}; !slices.Equal(states, want) {
		t.Fatalf("states %v, want %v", states, want)
	}
	if len(out.Calls) != 1 {
		t.Fatalf("%d calls, want 1: %+v", len(out.Calls), out.Calls)
	}
	c, a := out.Calls[0], out.Alarms[0]
	if wait := a.Raised.Sub(off); wait < 3*time.Minute || wait > 10*time.Minute {
		t.Errorf("raised %v after the air stopped, want 3 to 10 min", wait)
	}
	if c.Vessel != "C01" || c.ID == "" || a.CallID != c.ID || !slices.Contains(c.Alarms, a.ID) {
		t.Errorf("call %+v and alarm %+v do not name each other", c, a)
	}
}

func TestAirShutForATransferWakesNobody(t *testing.T) {
	off := noon.Add(2 * time.Hour) // 14:00, people are there
	r := New(options("C01"))
	r.Digest(ingest.Batch{Entries: []ingest.Entry{started("C01", noon)}}, noon)
	out := digest(r, stretch("C01", noon, 6*time.Hour, 1, airOff(off, off.Add(12*time.Minute))), 100)
	if !out.Empty() {
		t.Errorf("twelve minutes without air by day came to %v", raised(out))
	}
}

// Handling that began in staffed hours keeps the wait of staffed hours: the
// last transfer of the day is not an alarm because the clock struck six.
func TestWaitIsThatOfItsBeginning(t *testing.T) {
	off := noon.Add(5*time.Hour + 52*time.Minute) // 17:52
	r := New(options("C01"))
	r.Digest(ingest.Batch{Entries: []ingest.Entry{started("C01", noon)}}, noon)
	out := digest(r, stretch("C01", noon, 9*time.Hour, 1, airOff(off, off.Add(14*time.Minute))), 100)
	if !out.Empty() {
		t.Errorf("the last transfer of the day came to %v", raised(out))
	}
}

func TestManyAtOnceAreOneCall(t *testing.T) {
	names := []string{"C01", "C02", "C03", "C04"}
	r := New(options(names...))
	off := noon.Add(14 * time.Hour)
	var all []ingest.Reading
	for i, n := range names {
		r.Digest(ingest.Batch{Entries: []ingest.Entry{started(n, noon)}}, noon)
		all = append(all, stretch(n, noon, 15*time.Hour, uint64(i), airOff(off, off.Add(time.Hour)))...)
	}
	slices.SortStableFunc(all, func(a, b ingest.Reading) int { return a.At.Compare(b.At) })
	out := digest(r, all, 64)
	if len(out.Calls) != 1 || len(out.Calls[0].Alarms) != 4 {
		t.Errorf("four vessels that lose their air in the same minute made %d calls", len(out.Calls))
	}
}

func TestCrashAtNight(t *testing.T) {
	fall := noon.Add(4*24*time.Hour + 10*time.Hour) // 22:00 of the fourth day
	dying := func(at time.Time, v map[ingest.Quantity]float64) {
		if at.After(fall) {
			v[unit.OD] *= math.Exp(-0.12 * at.Sub(fall).Hours())
		}
	}
	r := New(options("C01"))
	r.Digest(ingest.Batch{Entries: []ingest.Entry{started("C01", noon)}}, noon)
	out := digest(r, stretch("C01", noon, 4*24*time.Hour+18*time.Hour, 1, dying), 500)
	if len(out.Alarms) == 0 || out.Alarms[0].Class != analysis.Crash {
		t.Fatalf("a crash came to %v", raised(out))
	}
	if late := out.Alarms[0].Raised.Sub(fall); late > 5*time.Hour {
		t.Errorf("raised %v after it began", late)
	}
}

// A culture that is lost altogether has not recovered.
func TestCrashToNothingDoesNotClear(t *testing.T) {
	fall := noon.Add(4*24*time.Hour + 10*time.Hour)
	dying := func(at time.Time, v map[ingest.Quantity]float64) {
		if at.After(fall) {
			v[unit.OD] *= math.Exp(-0.25 * at.Sub(fall).Hours())
		}
	}
	r := New(options("C01"))
	r.Digest(ingest.Batch{Entries: []ingest.Entry{started("C01", noon)}}, noon)
	out := digest(r, stretch("C01", noon, 7*24*time.Hour, 1, dying), 500)
	for _, a := range out.Alarms {
		if a.Class == analysis.Crash && a.State != alerts.Unacknowledged {
			t.Errorf("a culture that is gone has the crash %s at %s", a.State, a.Clear)
		}
	}
	if len(out.Calls) != 1 {
		t.Errorf("%d calls, want 1: %v", len(out.Calls), raised(out))
	}
}

func TestNothingGrowsIsAStall(t *testing.T) {
	dead := func(at time.Time, v map[ingest.Quantity]float64) {
		v[unit.OD] = 0.08 + 0.02*(v[unit.OD]-0.08)
	}
	r := New(options("C01"))
	r.Digest(ingest.Batch{Entries: []ingest.Entry{started("C01", noon)}}, noon)
	out := digest(r, stretch("C01", noon, 4*24*time.Hour, 1, dead), 500)
	if len(out.Alarms) != 1 || out.Alarms[0].Class != analysis.Stall {
		t.Fatalf("four days without growth came to %v", raised(out))
	}
}

func TestHealthyWeekIsQuiet(t *testing.T) {
	r := New(options("C01"))
	r.Digest(ingest.Batch{Entries: []ingest.Entry{started("C01", noon)}}, noon)
	if out := digest(r, stretch("C01", noon, 6*24*time.Hour, 9, nil), 500); !out.Empty() {
		t.Errorf("a healthy week came to %v", raised(out))
	}
}

func TestSilence(t *testing.T) {
	gone := noon.Add(12 * time.Hour)
	mute := func(at time.Time, v map[ingest.Quantity]float64) {
		if at.After(gone) {
			delete(v, unit.OD)
		}
	}
	r := New(options("C01"))
	r.Digest(ingest.Batch{Entries: []ingest.Entry{started("C01", noon)}}, noon)
	out := digest(r, stretch("C01", noon, 16*time.Hour, 1, mute), 100)
	if len(out.Alarms) != 1 || out.Alarms[0].Class != analysis.Sensor || out.Alarms[0].Quantity != unit.OD {
		t.Fatalf("a silent od probe came to %v", raised(out))
	}
}

// shuffle brings readings late and repeats some, within the lateness allowed.
func shuffle(readings []ingest.Reading, seed uint64) []ingest.Reading {
	r := rand.New(rand.NewPCG(seed, 5))
	out := slices.Clone(readings)
	for range len(out) / 4 { // four readings each 2 min: 50 places are 25 min
		i := r.IntN(len(out) - 50)
		j := i + r.IntN(50)
		x := out[i]
		out = slices.Insert(slices.Delete(out, i, i+1), j, x)
	}
	for range 200 {
		i := r.IntN(len(out) - 50)
		out = slices.Insert(out, i+r.IntN(50), out[i])
	}
	return out
}

// Whatever the order of arrival within the lateness allowed, what is believed
// and found in the end is the same.
func TestLateAndRepeatedReadings(t *testing.T) {
	off := noon.Add(14 * time.Hour)
	inOrder := stretch("C01", noon, 15*time.Hour, 1, airOff(off, off.Add(time.Hour)))
	shuffled := shuffle(inOrder, 5)
	// Both end with the same readings, so that the clock stands alike.
	tail := stretch("C01", noon.Add(15*time.Hour), 2*time.Hour, 2, nil)
	views := func(readings []ingest.Reading) []View {
		room := New(options("C01"))
		room.Digest(ingest.Batch{Entries: []ingest.Entry{started("C01", noon)}}, noon)
		digest(room, readings, 77)
		digest(room, tail, 77)
		if n := room.TooLate(); n != 0 {
			t.Errorf("%d readings came too late, all were within the lateness", n)
		}
		v := room.Views()
		for i := range v {
			v[i].Alarms = nil // raised by what was known at the time
		}
		return v
	}
	a, b := views(inOrder), views(shuffled)
	if fmt.Sprintf("%+v", a) != fmt.Sprintf("%+v", b) {
		t.Errorf("in order:\n%+v\nout of order:\n%+v", a, b)
	}
}

// How readings are parted into batches changes nothing, not even an alarm.
func TestBatchesDoNotMatter(t *testing.T) {
	off := noon.Add(14 * time.Hour)
	readings := shuffle(stretch("C01", noon, 18*time.Hour, 1, airOff(off, off.Add(time.Hour))), 6)
	run := func(size int) Outcome {
		room := New(options("C01"))
		room.Digest(ingest.Batch{Entries: []ingest.Entry{started("C01", noon)}}, noon)
		return digest(room, readings, size)
	}
	want := run(1)
	for _, size := range []int{3, 50, 1000} {
		got := run(size)
		if len(got.Alarms) != len(want.Alarms) || len(got.Calls) != len(want.Calls) {
			t.Fatalf("batches of %d: %v, want %v", size, raised(got), raised(want))
		}
		for i := range got.Alarms {
			if got.Alarms[i].ID != want.Alarms[i].ID || !got.Alarms[i].Raised.Equal(want.Alarms[i].Raised) {
				t.Errorf("batches of %d: alarm %+v, want %+v", size, got.Alarms[i], want.Alarms[i])
			}
		}
		for i := range got.Calls {
			if got.Calls[i].ID != want.Calls[i].ID {
				t.Errorf("batches of %d: call %s, want %s", size, got.Calls[i].ID, want.Calls[i].ID)
			}
		}
	}
}

// A room that is put down and taken up again at any instant decides what one
// that runs through decides.
func TestResumeIsBitForBit(t *testing.T) {
	off := noon.Add(14 * time.Hour)
	readings := shuffle(stretch("C01", noon, 18*time.Hour, 1, airOff(off, off.Add(time.Hour))), 8)
	through := New(options("C01"))
	through.Digest(ingest.Batch{Entries: []ingest.Entry{started("C01", noon)}}, noon)
	broken := New(options("C01"))
	broken.Digest(ingest.Batch{Entries: []ingest.Entry{started("C01", noon)}}, noon)
	var a, b Outcome
	for part := range slices.Chunk(readings, 150) {
		a.add(through.Digest(ingest.Batch{Readings: part}, noon))
		b.add(broken.Digest(ingest.Batch{Readings: part}, noon))
		snapshot, err := broken.Snapshot()
		if err != nil {
			t.Fatal(err)
		}
		broken = New(options("C01"))
		if err := broken.Restore(snapshot); err != nil {
			t.Fatal(err)
		}
	}
	if fmt.Sprintf("%+v", through.Views()) != fmt.Sprintf("%+v", broken.Views()) {
		t.Error("what is known differs after resuming")
	}
	if !reflect.DeepEqual(raised(a), raised(b)) || len(a.Calls) != len(b.Calls) || a.Calls[0].ID != b.Calls[0].ID {
		t.Errorf("resumed: %v, ran through: %v", raised(b), raised(a))
	}
}

// Who took the weak air has not heard that it stopped.
func TestGreaterTroubleIsToldAgain(t *testing.T) {
	weak, off := noon.Add(10*time.Hour), noon.Add(14*time.Hour)
	air := func(at time.Time, v map[ingest.Quantity]float64) {
		if at.After(off) {
			v[unit.Airflow] = 0.03
		} else if at.After(weak) {
			v[unit.Airflow] = 1.8 + 0.01*float64(at.Unix()%7)
		}
	}
	r := New(options("C01"))
	r.Digest(ingest.Batch{Entries: []ingest.Entry{started("C01", noon)}}, noon)
	readings := stretch("C01", noon, 17*time.Hour, 1, air)
	half := len(readings) * 13 / 17
	first := digest(r, readings[:half], 100)
	if len(first.Calls) != 1 {
		t.Fatalf("weak air made %d calls, want 1", len(first.Calls))
	}
	if _, ok := r.Acknowledge(first.Alarms[0].ID, "duty"); !ok {
		t.Fatal("not acknowledged")
	}
	second := digest(r, readings[half:], 100)
	if len(second.Calls) != 1 || second.Calls[0].ID == first.Calls[0].ID {
		t.Errorf("air that stopped after it was weak made the calls %+v, want one more", second.Calls)
	}
}

// Entries of a lot before this one change nothing, however late or often they
// come.
func TestEntriesOfTheLotBefore(t *testing.T) {
	old := noon.Add(-10 * 24 * time.Hour)
	for _, e := range []ingest.Entry{
		{Vessel: "C01", Kind: ingest.End, At: noon.Add(-time.Hour), Fields: map[string]ingest.Value{"lot": ingest.Text("before")}},
		{Vessel: "C01", Kind: ingest.End, At: noon.Add(time.Hour), Fields: map[string]ingest.Value{"lot": ingest.Text("before")}},
		{Vessel: "C01", Kind: ingest.Fill, At: old}, {Vessel: "C01", Kind: ingest.Dump, At: old}, started("C01", old),
	} {
		r := New(options("C01"))
		r.Digest(ingest.Batch{Entries: []ingest.Entry{started("C01", noon)}}, noon)
		digest(r, stretch("C01", noon, 4*time.Hour, 1, nil), 100)
		r.Digest(ingest.Batch{Entries: []ingest.Entry{e}}, noon)
		off := noon.Add(14 * time.Hour)
		out := digest(r, stretch("C01", noon.Add(4*time.Hour), 14*time.Hour, 2, airOff(off, off.Add(2*time.Hour))), 100)
		if v := r.Views()[0]; v.Estimate.Lot != "lot of C01" || !v.Estimate.Since.Equal(noon) {
			t.Errorf("%s of %s: lot %q since %v", e.Kind, e.At, v.Estimate.Lot, v.Estimate.Since)
		}
		if len(out.Calls) != 1 {
			t.Errorf("%s of %s: %d calls for stopped air", e.Kind, e.At, len(out.Calls))
		}
	}
}

func TestDamagedSnapshotIsAnError(t *testing.T) {
	r := New(options("C01"))
	for _, bad := range [][]byte{nil, []byte("rubbish"), make([]byte, 100)} {
		if r.Restore(bad) == nil {
			t.Errorf("a snapshot of %d bytes of rubbish was taken", len(bad))
		}
	}
}

func TestAcknowledge(t *testing.T) {
	off := noon.Add(14 * time.Hour)
	r := New(options("C01"))
	r.Digest(ingest.Batch{Entries: []ingest.Entry{started("C01", noon)}}, noon)
	out := digest(r, stretch("C01", noon, 15*time.Hour, 1, airOff(off, off.Add(2*time.Hour))), 100)
	got, ok := r.Acknowledge(out.Alarms[0].ID, "night duty")
	if !ok || len(got.Alarms) != 1 || got.Alarms[0].State != alerts.Acknowledged || got.Alarms[0].AckedBy != "night duty" {
		t.Errorf("acknowledged: %v, %+v", ok, got.Alarms)
	}
	if _, ok := r.Acknowledge("no such alarm", ""); ok {
		t.Error("an alarm that does not exist was acknowledged")
	}
}

// A leap of the clock over a month is no month of work, nor a false alarm for
// readings of now.
func TestClockLeaps(t *testing.T) {
	r := New(options("C01"))
	r.Digest(ingest.Batch{Entries: []ingest.Entry{started("C01", noon)}}, noon)
	digest(r, stretch("C01", noon, 3*time.Hour, 1, nil), 100)
	later := noon.Add(40 * 24 * time.Hour)
	digest(r, stretch("C01", later, 3*time.Hour, 1, nil), 100)
	if got := r.Now(); got.Before(later) {
		t.Errorf("the room's time is %v, want after %v", got, later)
	}
}

// A device that babbles does not fill the memory, nor the disk at each saving.
func TestBabblingDeviceIsBounded(t *testing.T) {
	r := New(options("C01"))
	r.Digest(ingest.Batch{Entries: []ingest.Entry{started("C01", noon)}}, noon)
	var batch []ingest.Reading
	for i := range 400_000 { // 1,000 a second
		batch = append(batch, ingest.Reading{Vessel: "C01", Quantity: unit.OD, Value: 0.1 + float64(i%7)/1e4, At: noon.Add(time.Duration(i) * time.Millisecond)})
	}
	digest(r, batch, 5000)
	if n := len(r.vessels["C01"].items); n > 150_000 { // three marks, and the minute that is not over
		t.Errorf("%d readings kept in memory", n)
	}
}

// One stamp gone wrong does not leave everybody else behind.
func TestOneLeapIsNotBelieved(t *testing.T) {
	r := New(options("C01"))
	r.Digest(ingest.Batch{Entries: []ingest.Entry{started("C01", noon)}}, noon)
	digest(r, stretch("C01", noon, 3*time.Hour, 1, nil), 100)
	r.Digest(ingest.Batch{Readings: []ingest.Reading{{Vessel: "C01", Quantity: unit.OD, Value: 0.1, At: noon.Add(90 * 24 * time.Hour)}}}, noon)
	digest(r, stretch("C01", noon.Add(3*time.Hour), 3*time.Hour, 1, nil), 100)
	if got := r.Now(); got.After(noon.Add(7*time.Hour)) || got.Before(noon.Add(5*time.Hour)) {
		t.Errorf("the room's time is %v, want about %v", got, noon.Add(6*time.Hour))
	}
	if r.TooLate() != 0 {
		t.Errorf("%d readings left behind", r.TooLate())
	}
}

func BenchmarkDigest(b *testing.B) {
	readings := stretch("C01", noon, 10*24*time.Hour, 1, nil)
	b.ReportAllocs()
	for b.Loop() {
		r := New(options("C01"))
		r.Digest(ingest.Batch{Entries: []ingest.Entry{started("C01", noon)}}, noon)
		digest(r, readings, 500)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(readings)), "ns/reading")
}

func BenchmarkSnapshot(b *testing.B) {
	r := New(options("C01"))
	digest(r, stretch("C01", noon, 3*24*time.Hour, 1, nil), 500)
	for b.Loop() {
		s, _ := r.Snapshot()
		b.ReportMetric(float64(len(s)), "bytes")
	}
}
