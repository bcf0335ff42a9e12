package daemon

import (
	"math"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// counters count what happens; everything that merely is, is read off the
// parts at each scrape (see gauges).
type counters struct {
	messages prometheus.Counter
	readings *prometheus.CounterVec
	entries  prometheus.Counter
	aside    *prometheus.CounterVec
	failures prometheus.Counter
	attempts *prometheus.CounterVec
}

func newCounters(r prometheus.Registerer) *counters {
	c := &counters{
		messages: prometheus.NewCounter(prometheus.CounterOpts{Name: "nightshelf_messages_total", Help: "Messages taken from the broker, repeated ones included."}),
		readings: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "nightshelf_readings_total", Help: "Readings by what became of them: stored, or duplicate of one that was there."}, []string{"outcome"}),
		entries:  prometheus.NewCounter(prometheus.CounterOpts{Name: "nightshelf_entries_total", Help: "Logbook entries stored."}),
		aside:    prometheus.NewCounterVec(prometheus.CounterOpts{Name: "nightshelf_set_aside_total", Help: "Pieces of input that could not be used, by reason."}, []string{"reason"}),
		failures: prometheus.NewCounter(prometheus.CounterOpts{Name: "nightshelf_commit_failures_total", Help: "Commits that failed; their messages were not acknowledged and come again."}),
		attempts: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "nightshelf_call_attempts_total", Help: "Attempts at delivering a call, by what they met."}, []string{"reason"}),
	}
	r.MustRegister(c.messages, c.readings, c.entries, c.aside, c.failures, c.attempts)
	// Every label from the first scrape on, so that a rate has a start.
	for _, o := range []string{"stored", "duplicate"} {
		c.readings.WithLabelValues(o)
	}
	for _, reason := range ingest.Reasons {
		c.aside.WithLabelValues(string(reason))
	}
	return c
}

func (c *counters) message(n int) { c.messages.Add(float64(n)) }

func (c *counters) failed() { c.failures.Inc() }

func (c *counters) attempt(r alerts.Result) { c.attempts.WithLabelValues(r.Reason).Inc() }

func (c *counters) kept(batches []ingest.Batch, kept []ingest.Kept) {
	for i, k := range kept {
		c.readings.WithLabelValues("stored").Add(float64(k.Stored))
		c.readings.WithLabelValues("duplicate").Add(float64(k.Duplicates))
		c.entries.Add(float64(k.Entries))
		for _, r := range batches[i].Refused {
			c.aside.WithLabelValues(string(r.Reason)).Inc()
		}
	}
}

// gauges tells at each scrape how things stand.
type gauges struct {
	d *Daemon

	up, broker, connects, last, backlog, roomTime, late   *prometheus.Desc
	reading, readingTime, density, growth, finding, alarm *prometheus.Desc
	calls, stored                                         *prometheus.Desc
}

func newGauges(d *Daemon) *gauges {
	desc := func(name, help string, labels ...string) *prometheus.Desc {
		return prometheus.NewDesc("nightshelf_"+name, help, labels, nil)
	}
	return &gauges{d: d,
		up:          desc("part_ready", "1 where a part of the daemon can do its work, else 0.", "part"),
		broker:      desc("broker_connected", "1 while readings can come in from the broker, else 0."),
		connects:    desc("broker_connects_total", "Connections made to the broker elsewhere, or to our own; towards a broker elsewhere a steep rise means two clients with one id."),
		last:        desc("last_message_timestamp_seconds", "When the newest message came, Unix time; 0 before the first."),
		backlog:     desc("backlog_batches", "Stored batches that the watch has not taken in yet."),
		roomTime:    desc("room_timestamp_seconds", "The room's time up to which has been judged, Unix time."),
		late:        desc("readings_too_late", "Readings that came too late to be judged since the watch began; they are stored."),
		reading:     desc("reading", "Newest reading in the unit of its quantity (od, degC, umol m-2 s-1, L/min).", "vessel", "quantity"),
		readingTime: desc("reading_timestamp_seconds", "When the newest reading was taken, Unix time.", "vessel", "quantity"),
		density:     desc("density", "Optical density above blank, bubbles taken out.", "vessel"),
		growth:      desc("net_growth_per_day", "Net specific growth rate over the last day, 1/d.", "vessel"),
		finding:     desc("finding", "1 while the judge stands by a finding of that class.", "vessel", "finding"),
		alarm:       desc("alarms", "Alarms by state.", "state"),
		calls:       desc("calls", "Calls by state.", "state"),
		stored:      desc("stored_readings", "Readings on disk, repeated ones counted once."),
	}
}

// Describe implements prometheus.Collector.
func (g *gauges) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{g.up, g.broker, g.connects, g.last, g.backlog, g.roomTime, g.late, g.reading,
		g.readingTime, g.density, g.growth, g.finding, g.alarm, g.calls, g.stored} {
		ch <- d
	}
}

// Collect implements prometheus.Collector.
func (g *gauges) Collect(ch chan<- prometheus.Metric) {
	gauge := func(d *prometheus.Desc, v float64, labels ...string) {
		ch <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	for _, p := range g.d.Ready() {
		gauge(g.up, truth(p.OK), p.Name)
	}
	link := g.d.link.State()
	gauge(g.broker, truth(link.OK))
	ch <- prometheus.MustNewConstMetric(g.connects, prometheus.CounterValue, float64(link.Connects))
	gauge(g.last, seconds(link.Last))
	if n, ok := g.d.storedReadings(); ok {
		gauge(g.stored, float64(n))
	}
	for state, n := range g.d.callCounts() {
		gauge(g.calls, float64(n), string(state))
	}
	if n, err := g.d.backlog(); err == nil {
		gauge(g.backlog, float64(n))
	}
	v := g.d.watch.view.Load()
	if v == nil {
		return
	}
	gauge(g.roomTime, seconds(v.now))
	gauge(g.late, float64(v.tooLate))
	states := map[alerts.State]int{}
	for _, w := range v.vessels {
		g.vessel(gauge, w)
		for _, a := range w.Alarms {
			states[a.State]++
		}
	}
	for _, s := range alerts.States {
		if s != alerts.Normal {
			gauge(g.alarm, float64(states[s]), string(s))
		}
	}
}

func (g *gauges) vessel(gauge func(*prometheus.Desc, float64, ...string), w viewOf) {
	name := w.Vessel.Name
	for _, q := range unit.All {
		if p, ok := w.Newest[q]; ok {
			gauge(g.reading, p.Value, name, q.String())
			gauge(g.readingTime, seconds(p.At), name, q.String())
		}
	}
	if w.Estimate.Density.Known() {
		gauge(g.density, w.Estimate.Density.Likely, name)
	}
	if w.Estimate.Growth.Known() {
		gauge(g.growth, w.Estimate.Growth.Likely, name)
	}
	for _, c := range analysis.Classes {
		stands := 0.0
		for _, f := range w.Findings {
			if f.Class == c {
				stands = 1
			}
		}
		gauge(g.finding, stands, name, string(c))
	}
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func seconds(t time.Time) float64 {
	if t.IsZero() {
		return 0
	}
	return math.Round(float64(t.UnixMilli())) / 1000
}

func newRegistry() *prometheus.Registry {
	r := prometheus.NewRegistry()
	r.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return r
}
