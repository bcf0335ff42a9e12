package main

import (
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"github.com/nightshelf/nightshelf/analysis/simulate"
)

// simulation is what the command line asks for.
type simulation struct {
	broker, topic      string
	username, password string // the latter is a file
	out                string
	printConfig        bool
	seed               uint64
	speed              float64
	vessels, days      int
	faults             []string
	start, zone        string
	lasting            time.Duration
	quick              time.Duration
}

// usualDays is how long a plain simulated room stands.
const usualDays = 6

func newSimulate() *cobra.Command {
	var s simulation
	c := &cobra.Command{
		Use:   "simulate [--broker URL | --out DIR | --print-config]",
		Short: "play an invented room, to try the watch on",
		Long: `Play an invented room: to a broker, or with --out into a new run folder.

Without --vessels it is a shelf of eight vessels that has stood for five days,
and a night in which grazers spoil C05 from about 23:00 and the air of C03 is
off from 01:40 to 04:30. The night is last night unless --start says otherwise;
the days before it are sent at once, the night at --speed. With --vessels N it
is another room of N healthy vessels, V01 to VN.

The readings bear the time of the room's clock, never one that is yet to come:
where the room has caught up with the present it goes on at the pace of a
clock. A watch that is to go by the time of the readings needs 'clock: readings'
in its configuration; --print-config prints the vessels for it.

A fault is written kind:vessel@when[/how long][=how bad]: the vessel * is the
whole room, when is a time with zone or +26h30m from the start of the room.
Kinds: ` + kindsOf(simulate.FaultKinds()) + `.`,
		Example: `  nightshelf simulate --broker tcp://127.0.0.1:1883 --speed 60
  nightshelf simulate --vessels 12 --days 10 --seed 7 --fault 'air_off:*@+100h/2h' --out runs/a
  nightshelf simulate --print-config`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return s.run(c) },
	}
	s.flags(c)
	return c
}

func kindsOf(kinds []simulate.FaultKind) string {
	text := ""
	for i, k := range kinds {
		if i > 0 {
			text += ", "
		}
		if i%4 == 3 {
			text += "\n"
		}
		text += string(k)
	}
	return text
}

func (s *simulation) flags(c *cobra.Command) {
	f := c.Flags()
	f.StringVar(&s.broker, "broker", "tcp://127.0.0.1:1883", "the broker to publish to")
	f.StringVar(&s.topic, "topic", "nightshelf/readings", "the topic to publish under")
	f.StringVar(&s.username, "username", "", "name at the broker")
	f.StringVar(&s.password, "password-file", "", "file that holds the password at the broker")
	f.StringVar(&s.out, "out", "", "write this run folder instead of publishing")
	f.BoolVar(&s.printConfig, "print-config", false, "print the vessels for a configuration, and do nothing else")
	f.Uint64Var(&s.seed, "seed", 1, "chance: the same seed gives the same room")
	f.Float64Var(&s.speed, "speed", 60, "seconds of the room in a second; 0 is as fast as it goes")
	f.DurationVar(&s.quick, "quick", -1, "how much of the beginning is published as fast as it goes (of the shelf of eight: until 18:00 before its night)")
	f.IntVar(&s.vessels, "vessels", 0, "how many vessels; 0 is the shelf of eight and its night")
	f.IntVar(&s.days, "days", usualDays, "how many days, with --vessels")
	f.StringArrayVar(&s.faults, "fault", nil, "a fault, may be given again")
	f.StringVar(&s.start, "start", "", "when the room's clock starts, such as 2026-01-31T00:00:00Z (so that it ends by now)")
	f.StringVar(&s.zone, "zone", "UTC", "zone of the lamps' hours")
	f.DurationVar(&s.lasting, "for", 0, "stop after so long by the clock here; 0 is at the end")
}

func (s *simulation) run(c *cobra.Command) error {
	plan, err := s.plan(time.Now())
	if err != nil {
		return &wrongUse{err}
	}
	ctx := c.Context()
	if s.lasting > 0 {
		var cancel func()
		ctx, cancel = contextFor(ctx, s.lasting)
		defer cancel()
	}
	switch {
	case s.printConfig:
		return printVessels(c.OutOrStdout(), &plan)
	case s.out != "":
		return s.write(ctx, &plan, c.ErrOrStderr())
	}
	return s.publish(ctx, &plan, c.ErrOrStderr())
}

// plan builds the room that was asked for.
func (s *simulation) plan(now time.Time) (simulate.Plan, error) {
	zone, start, err := s.times()
	if err != nil {
		return simulate.Plan{}, err
	}
	switch {
	case !(s.speed >= 0):
		return simulate.Plan{}, fmt.Errorf("--speed %v: want 0 or more", s.speed)
	case s.vessels < 0 || s.vessels > 10000:
		return simulate.Plan{}, fmt.Errorf("--vessels %d: want 0 to 10000", s.vessels)
	case s.days < 1 || s.days > 3660:
		return simulate.Plan{}, fmt.Errorf("--days %d: want 1 to 3660", s.days)
	case s.topic == "":
		return simulate.Plan{}, errors.New("--topic is empty")
	}
	plan := s.room(now.In(zone), start)
	for _, word := range s.faults {
		f, err := simulate.ParseFault(word, plan.Start)
		if err != nil {
			return plan, fmt.Errorf("--fault: %w", err)
		}
		plan.Faults = append(plan.Faults, f)
	}
	return plan, plan.Check()
}

// times reads zone and start, the latter zero where it is not given.
func (s *simulation) times() (*time.Location, time.Time, error) {
	zone, err := time.LoadLocation(s.zone)
	if err != nil || s.zone == "Local" || s.zone == "" {
		return nil, time.Time{}, fmt.Errorf("--zone %q is not in the IANA list of time zones", s.zone)
	}
	if s.start == "" {
		return zone, time.Time{}, nil
	}
	start, err := time.Parse(time.RFC3339, s.start)
	if err != nil {
		return nil, time.Time{}, fmt.Errorf("--start %q is not a time with zone such as 2026-01-31T00:00:00Z", s.start)
	}
	return zone, start.In(zone), nil
}

// room chooses between the shelf of eight, whose start must be a midnight, and
// a plain room.
func (s *simulation) room(now, start time.Time) simulate.Plan {
	if s.vessels > 0 {
		if start.IsZero() {
			start = now.Add(-time.Duration(s.days) * 24 * time.Hour).Truncate(24 * time.Hour) // people come by day
		}
		return simulate.Season(s.seed, start, s.vessels, s.days, 0)
	}
	if !start.IsZero() {
		return simulate.Demo(s.seed, start.Add(simulate.DemoHistory+12*time.Hour))
	}
	plan := simulate.Demo(s.seed, now.AddDate(0, 0, -1))
	if plan.End.After(now) { // last night is not over
		plan = simulate.Demo(s.seed, now.AddDate(0, 0, -2))
	}
	return plan
}

// quickUntil is up to when nobody waits for the room's clock.
func (s *simulation) quickUntil(plan *simulate.Plan) time.Time {
	switch {
	case s.quick >= 0:
		return plan.Start.Add(s.quick)
	case s.vessels > 0:
		return plan.Start
	}
	return plan.End.Add(-15 * time.Hour) // the night ends at nine
}
