package page

import (
	"strconv"
	"time"
)

// viewer turns one state of the room into words and pictures for one page.
type viewer struct {
	shelf  Shelf
	clock  clock
	canAck bool
}

func (s *site) viewer() viewer {
	shelf := s.Source.Shelf()
	return viewer{shelf: shelf, clock: clock{zone: shelf.zone(), now: shelf.Now}, canAck: s.Acknowledger != nil}
}

// head is what every page has around its content.
type head struct {
	Title      string
	Here       string // which entry of the menu this is
	Room       string
	Now        moment
	Night      bool
	House      string
	ClockNote  string
	Needy      int // alarms that nobody has acknowledged
	Open       int // alarms that are open
	Aside      int // messages set aside and unknown vessels
	Broker     string
	NewestAge  string // age of the newest reading
	Version    string
	Style      string
	Script     string
	Who        string // who acknowledged last from this phone
	RenewAfter int    // seconds after which a page without script asks again; 0 never
}

func (s *site) head(v viewer, title, here string) head {
	h := head{
		Title: title, Here: here, Room: v.shelf.Room, Now: v.clock.full(v.shelf.Now), Night: v.clock.night(),
		House: "house empty", Broker: v.shelf.Broker, Aside: v.shelf.SetAside.Total + len(v.shelf.Unknown),
		Version: s.Version, Style: asset("style.css"), Script: asset("renew.js"),
	}
	if h.Room == "" {
		h.Room = "Culture room"
	}
	if v.shelf.Staffed {
		h.House = "staffed hours"
	}
	if v.shelf.Clock == "readings" {
		h.ClockNote = "the readings set the time"
	}
	for _, a := range v.shelf.Alarms {
		if needy(a) {
			h.Needy++
		}
		if open(a) {
			h.Open++
		}
	}
	if t := newest(v.shelf); !t.IsZero() {
		h.NewestAge = span(max(v.clock.now.Sub(t), 0))
	}
	return h
}

// newest returns when the newest reading of the room was taken.
func newest(s Shelf) (t time.Time) {
	for _, v := range s.Vessels {
		for _, p := range v.Latest {
			if p.At.After(t) {
				t = p.At
			}
		}
	}
	return t
}

// shelfPage is the first page.
type shelfPage struct {
	head
	Alarms  []alarmView
	More    int // open alarms that are not shown
	Cards   []card
	Unknown []unknownView
	Topics  []string
}

// bannersShown is how many alarms stand above the shelf before the rest is
// only counted.
const bannersShown = 5

func (s *site) shelfPage(v viewer) shelfPage {
	p := shelfPage{head: s.head(v, "Shelf", "shelf"), Topics: v.shelf.Topics, Unknown: v.unknown()}
	p.RenewAfter = 60
	open := openAlarms(v.shelf.Alarms)
	p.More = max(len(open)-bannersShown, 0)
	for _, a := range open[:len(open)-p.More] {
		p.Alarms = append(p.Alarms, v.alarm(a))
	}
	p.Cards = make([]card, 0, len(v.shelf.Vessels))
	for i, vessel := range v.shelf.Vessels {
		c := v.card(vessel)
		c.Drawing.ID = "g" + strconv.Itoa(i)
		c.Notices = append(s.taintOf(v, vessel), c.Notices...)
		if vessel.Estimate.Lot == "" || !vessel.Estimate.Ended.IsZero() {
			c.Next, c.NextPath = s.nextStep(v, vessel.Vessel.Name)
		}
		p.Cards = append(p.Cards, c)
	}
	return p
}
