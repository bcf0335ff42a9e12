package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"github.com/nightshelf/nightshelf/analysis/simulate"
	"github.com/nightshelf/nightshelf/cmd/internal/daemon"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/lineproto"
)

// demoTopic is where the invented sensors speak.
const demoTopic = "nightshelf/demo"

// shelfNight plays the days before as fast as they are kept, then the night at
// a pace to look at, then waits until ctx is done.
func shelfNight(ctx context.Context, show *narrator, d *daemon.Daemon, plan simulate.Plan, o demoOptions) error {
	show.line("Nightshelf demo: an invented shelf of %d vessels, one night in about %s.", len(plan.Places), o.night.Round(time.Second))
	show.line("\n   the shelf, on this machine:   %s\n   readings come in over MQTT:   %s, topic %s\n", d.PageURL(), d.BrokerAddress(), demoTopic)
	sensors, err := connectSensors(d.BrokerAddress())
	if err != nil {
		return err
	}
	defer sensors.Disconnect(100)
	room := simulate.New(plan, o.seed)
	night := eveningOf(plan)
	show.line("The days before the night are being told first ...")
	told := map[int]bool{}
	if err := past(ctx, sensors, room, night, func(at time.Time) { tell(show, plan, at, told) }); err != nil {
		return quiet(ctx, err)
	}
	show.say(night, "the last one out has locked the door; from here on nobody is there")
	if err := live(ctx, sensors, room, plan, night, o.night, func(at time.Time) { tell(show, plan, at, told) }); err != nil {
		return quiet(ctx, err)
	}
	show.say(room.Now(), "the night is over")
	if o.lasts == 0 {
		show.line("Look at the shelf: %s   Ctrl-C ends the demo.", d.PageURL())
	}
	<-ctx.Done()
	return nil
}

// quiet makes no error of an end that was asked for.
func quiet(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return nil
	}
	return err
}

// eveningOf is when the last night of the plan begins: half past five of its
// last evening, when the staffed hours end.
func eveningOf(plan simulate.Plan) time.Time {
	zone := plan.Places[0].Vessel.Zone
	if zone == nil {
		zone = time.UTC
	}
	end := plan.End.In(zone)
	evening := time.Date(end.Year(), end.Month(), end.Day(), 17, 30, 0, 0, zone)
	if !evening.Before(plan.End) {
		evening = evening.AddDate(0, 0, -1)
	}
	return evening.UTC()
}

func connectSensors(address string) (paho.Client, error) {
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + address).SetClientID("demo-sensors").SetAutoReconnect(true))
	if tok := c.Connect(); !tok.WaitTimeout(10*time.Second) || tok.Error() != nil {
		return nil, fmt.Errorf("connect the demo's sensors to %s: %w", address, tok.Error())
	}
	return c, nil
}

// pastMessage is how many lines of the days before travel together.
const pastMessage = 200

func past(ctx context.Context, c paho.Client, room *simulate.Room, until time.Time, tell func(time.Time)) error {
	var lines []byte
	n := 0
	for room.Now().Before(until) {
		readings, entries, ok := room.Step()
		if !ok {
			break
		}
		tell(room.Now())
		var err error
		if lines, err = appendAll(lines, readings, entries); err != nil {
			return err
		}
		if n += len(readings); n >= pastMessage {
			if err := publish(ctx, c, lines); err != nil {
				return err
			}
			lines, n = nil, 0
		}
	}
	return publish(ctx, c, lines)
}

func appendAll(lines []byte, readings []ingest.Reading, entries []ingest.Entry) ([]byte, error) {
	lines, err := lineproto.AppendReading(lines, readings...)
	for _, e := range entries {
		if err == nil {
			lines, err = lineproto.AppendEntry(lines, e)
		}
	}
	return lines, err
}

// publish waits until the broker has taken the lines, which here means that
// they are on disk.
func publish(ctx context.Context, c paho.Client, lines []byte) error {
	if len(lines) == 0 {
		return ctx.Err()
	}
	tok := c.Publish(demoTopic, 1, false, slices.Clone(lines))
	select {
	case <-tok.Done():
		return tok.Error()
	case <-ctx.Done():
		return ctx.Err()
	}
}

// live plays the night at a pace to look at, and says when something goes
// wrong, which the watcher is not told.
func live(ctx context.Context, c paho.Client, room *simulate.Room, plan simulate.Plan, begin time.Time, lasts time.Duration, tell func(time.Time)) error {
	begun := time.Now()
	scale := float64(lasts) / float64(plan.End.Sub(begin))
	for {
		readings, entries, ok := room.Step()
		if !ok {
			return nil
		}
		lines, err := appendAll(nil, readings, entries)
		if err != nil {
			return err
		}
		if err := publish(ctx, c, lines); err != nil {
			return err
		}
		tell(room.Now())
		due := begun.Add(time.Duration(float64(room.Now().Sub(begin)) * scale))
		pause := time.NewTimer(time.Until(due))
		select {
		case <-pause.C:
		case <-ctx.Done():
			pause.Stop()
			return ctx.Err()
		}
	}
}

// tell names the faults of the plan as they begin and end.
func tell(show *narrator, plan simulate.Plan, now time.Time, told map[int]bool) {
	for i, f := range plan.Faults {
		if !told[2*i] && !now.Before(f.From) {
			told[2*i] = true
			show.say(f.From, "%s: %s (the watcher is not told)", f.Vessel, happening[f.Kind])
		}
		if !f.Until.IsZero() && !told[2*i+1] && !now.Before(f.Until) {
			told[2*i+1] = true
			show.say(f.Until, "%s: that is over", f.Vessel)
		}
	}
}

// happening says what a fault of the demo is, for people.
var happening = map[simulate.FaultKind]string{
	simulate.AirOff:        "a clamp slips shut, no more air",
	simulate.Contamination: "grazers begin to take the culture down",
	simulate.LampOut:       "the lamp goes out",
	simulate.Lysis:         "a virus bursts the cells",
}

// wrap breaks text into lines of at most width characters.
func wrap(text string, width int, indent string) string {
	var b strings.Builder
	n := 0
	for i, word := range strings.Fields(text) {
		length := len([]rune(word))
		switch {
		case i == 0:
		case n+1+length > width:
			b.WriteString("\n" + indent)
			n = 0
		default:
			b.WriteString(" ")
			n++
		}
		b.WriteString(word)
		n += length
	}
	return b.String()
}
