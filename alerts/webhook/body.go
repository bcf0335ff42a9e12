package webhook

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"text/template"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
)

// maxBody is what Standard Webhooks 1.0.0 recommends payloads to stay under.
const maxBody = 20_000

// maxTemplated bounds what a template may make, in bytes.
const maxTemplated = 64 << 10

// Payload is the body of an attempt, and what a body template is given.
type Payload struct {
	Type      string    `json:"type"`      // "alarm.raised" or "alarm.cleared"
	Timestamp time.Time `json:"timestamp"` // when it was decided, in the room's time
	Data      Data      `json:"data"`
}

// Data is what a call says.
type Data struct {
	ID       string    `json:"id"`
	Room     string    `json:"room"`
	Vessel   string    `json:"vessel"`
	Lot      string    `json:"lot,omitempty"`
	Class    string    `json:"class"`
	Priority string    `json:"priority"`
	Alarms   []string  `json:"alarms"`
	Text     string    `json:"text"`
	Body     string    `json:"body,omitempty"`
	Link     string    `json:"link,omitempty"`
	Queued   time.Time `json:"queued"`
	Attempt  int       `json:"attempt"` // from 1
}

func payload(c alerts.Call) Payload {
	return Payload{Type: c.Kind, Timestamp: c.Decided.UTC(), Data: Data{
		ID: c.ID, Room: c.Room, Vessel: c.Vessel, Lot: c.Lot, Class: string(c.Class), Priority: string(c.Prio),
		Alarms: append([]string{}, c.Alarms...), Text: c.Text, Body: c.Body, Link: c.Link, Queued: c.Queued.UTC(), Attempt: c.Attempts + 1,
	}}
}

// ParseBody reads a body template: text/template over a [Payload], with the
// function json, which writes any value as JSON: {"message": {{json
// .Data.Text}}}. It is tried once, so that a field nobody knows is found now
// and not at night.
func ParseBody(name, text string) (*template.Template, error) {
	t, err := template.New(name).Option("missingkey=error").Funcs(template.FuncMap{"json": toJSON}).Parse(text)
	if err != nil {
		return nil, fmt.Errorf("body template: %w", err)
	}
	if _, err := execute(t, payload(alerts.Call{Kind: alerts.KindRaised, Alarms: []string{"a"}})); err != nil {
		return nil, err
	}
	return t, nil
}

func toJSON(v any) (string, error) {
	b, err := marshal(v)
	return string(b), err
}

// marshal writes JSON as it is read: "<" as "<".
func marshal(v any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), nil
}

// encode returns the body for c and its content type.
func encode(t *template.Template, c alerts.Call) ([]byte, string, error) {
	p := payload(c)
	if t == nil {
		b, err := standard(p)
		return b, "application/json", err
	}
	b, err := execute(t, p)
	if err != nil {
		return nil, "", err
	}
	if json.Valid(b) {
		return b, "application/json", nil
	}
	return b, "text/plain; charset=utf-8", nil
}

// standard writes p as JSON under maxBody, giving up first the long form and
// then the list of alarms rather than the call.
func standard(p Payload) ([]byte, error) {
	b, err := marshal(p)
	if err == nil && len(b) >= maxBody {
		p.Data.Body = ""
		b, err = marshal(p)
	}
	if err == nil && len(b) >= maxBody {
		p.Data.Alarms = p.Data.Alarms[:min(1, len(p.Data.Alarms))]
		b, err = marshal(p)
	}
	if err == nil && len(b) >= maxBody {
		err = fmt.Errorf("%d bytes where a receiver takes %d", len(b), maxBody)
	}
	return b, err
}

var errTooLong = errors.New("makes too long a body")

// bounded takes maxTemplated bytes and then fails, so that a template that
// never ends does not fill the memory.
type bounded struct{ bytes.Buffer }

func (b *bounded) Write(p []byte) (int, error) {
	if b.Len()+len(p) > maxTemplated {
		return 0, errTooLong
	}
	return b.Buffer.Write(p)
}

func execute(t *template.Template, p Payload) ([]byte, error) {
	var b bounded
	if err := t.Execute(&b, p); err != nil {
		return nil, fmt.Errorf("body template: %w", err)
	}
	return b.Bytes(), nil
}
