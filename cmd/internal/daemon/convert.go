package daemon

import (
	"fmt"
	"time"

	"github.com/nightshelf/nightshelf/alerts/webhook"
	"github.com/nightshelf/nightshelf/config"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/device"
	"github.com/nightshelf/nightshelf/ingest/lineproto"
	"github.com/nightshelf/nightshelf/ingest/unit"
)

// Vessels turns what the configuration says of the shelf into the words of
// ingest.
func Vessels(c *config.Config) []ingest.Vessel {
	out := make([]ingest.Vessel, 0, len(c.Vessels))
	for _, v := range c.Vessels {
		out = append(out, ingest.Vessel{
			Name: v.Name, Kind: v.Kind, VolumeL: v.VolumeL, Zone: c.Zone,
			LightsOn: v.LightsOn, LightHours: v.LightHours, LightShape: ingest.Shape(v.LightShape), ParUmol: v.ParUmol,
			TempC: v.TempC, TempBand: v.TempBandK, AirLpm: v.AirLpm,
			Interval: v.Interval, Expects: v.Quantities, HarvestOD: v.HarvestOD,
		})
	}
	return out
}

// phones turns the configured receivers into those of the webhook.
func phones(c *config.Config) ([]webhook.Phone, error) {
	var out []webhook.Phone
	for _, p := range c.Phones {
		secret, err := webhook.ParseSecret(p.Secret.Reveal())
		if err != nil {
			return nil, fmt.Errorf("phone %q: secret file %s: %w", p.Name, p.Secret.File(), err)
		}
		phone := webhook.Phone{Name: p.Name, URL: p.URL, Secret: secret, Headers: map[string]string{},
			AllowPrivate: p.AllowPrivate, Timeout: p.Timeout}
		for _, h := range p.Headers {
			phone.Headers[h.Name] = h.Value.Reveal()
		}
		if p.Body != "" {
			if phone.Body, err = webhook.ParseBody(p.Name, p.Body); err != nil {
				return nil, fmt.Errorf("phone %q: %w", p.Name, err)
			}
		}
		if err := phone.Check(); err != nil {
			return nil, err
		}
		out = append(out, phone)
	}
	return out, nil
}

// mappings turns the configured devices into those of the mapper.
func mappings(devices []config.Device) []device.Mapping {
	var out []device.Mapping
	for _, d := range devices {
		m := device.Mapping{Topic: d.Topic, Vessel: d.Vessel, VesselField: d.VesselField, Format: device.Format(d.Format),
			Field: d.Field, TimeField: d.Time}
		if d.Time != "" {
			m.TimeUnit = d.TimeUnit
		}
		for _, v := range d.Fields {
			if m.Fields == nil {
				m.Fields = map[string]string{}
			}
			m.Fields[v.Path] = v.Field
		}
		out = append(out, m)
	}
	return out
}

// decode makes the one decoder for all topics: those that the configuration
// maps are bare numbers or JSON, everything else is line protocol.
func decode(c *config.Config) (decoder, error) {
	units := unit.Units{LuxPerUmol: c.LampLuxPerUmol}
	mapper, err := device.New(mappings(c.Devices), device.Options{Units: units, MaxPayload: c.Broker.MaxPayload})
	if err != nil {
		return nil, fmt.Errorf("devices: %w", err)
	}
	lines, err := lineproto.New(lineproto.Options{Precision: precisions[c.Broker.Precision], Units: units, MaxPayload: c.Broker.MaxPayload})
	if err != nil {
		return nil, err
	}
	return func(m ingest.Message) ingest.Batch {
		// Live, a time far from now is a clock gone wrong. Recorded weeks may
		// be of any age.
		reference := m.Arrived
		if c.Clock == config.Readings {
			reference = time.Time{}
		}
		if mapper.Match(m.Topic) {
			return mapper.Decode(m.Topic, m.Payload, m.Arrived, reference)
		}
		b := lines.Decode(m.Payload, m.Arrived, reference)
		for i := range b.Refused {
			b.Refused[i].Topic = m.Topic
		}
		return b
	}, nil
}

var precisions = map[time.Duration]ingest.Precision{
	time.Nanosecond: ingest.Nanoseconds, time.Microsecond: ingest.Microseconds,
	time.Millisecond: ingest.Milliseconds, time.Second: ingest.Seconds,
}
