package config

import (
	"strings"

	"gopkg.in/yaml.v3"

	"github.com/nightshelf/nightshelf/ingest/unit"
)

// devices reads how to read what is no line protocol.
func (d *decoder) devices(room *block, c *Config) {
	for _, n := range room.items("devices", 1000) {
		b := d.block(n, "a device")
		dev := b.device(c)
		if topic := b.value("topic"); topic != nil && dev.Topic != "" {
			b.crossings(topic, dev, c)
		}
		b.close()
		c.Devices = append(c.Devices, dev)
	}
}

// device reads one device. Its Topic stays empty where it is wrong.
func (b *block) device(c *Config) Device {
	dev := Device{TimeUnit: "s"}
	if !b.has("topic") {
		b.missing("topic", "write the topic it sends to, such as bench/{vessel}/od")
	}
	read(b, "topic", &dev.Topic, deviceTopic)
	if b.choice("format", &dev.Format, "number", "json") == nil && !b.has("format") {
		b.missing("format", "write format: number for a bare number, or format: json")
	}
	b.whose(&dev, c)
	b.numberField(&dev)
	b.jsonFields(&dev)
	read(b, "time", &dev.Time, jsonPath)
	b.choice("time_unit", &dev.TimeUnit, "s", "ms", "us", "ns", "rfc3339")
	if b.has("time_unit") && !b.has("time") {
		b.fault(b.place("time_unit"), "time_unit %s says nothing without time, the field that holds it", quoted(b.value("time_unit").Value))
	}
	if dev.Format == "number" {
		for _, key := range []string{"fields", "time", "vessel_field"} {
			if b.has(key) {
				b.fault(b.find(key).key, "%s is for format: json; a bare number has no fields", quoted(key))
			}
		}
	}
	return dev
}

// deviceTopic checks a topic in which one level may be {vessel}.
func deviceTopic(s string) (string, error) {
	vessels := 0
	for level := range strings.SplitSeq(s, "/") {
		switch {
		case level == vesselLevel:
			vessels++
		case strings.ContainsAny(level, "{}"):
			return "", sentence("may hold {vessel} as a whole level and no other braces, not %s", quoted(s))
		case strings.Contains(level, "#"):
			return "", sentence("must not hold #: name the levels, or use + for any one of them, not %s", quoted(s))
		}
	}
	if vessels > 1 {
		return "", sentence("must hold {vessel} once at most, not %s", quoted(s))
	}
	if err := goodFilter(s); err != nil {
		return "", sentence("%s %s", quoted(s), err)
	}
	return s, nil
}

// whose reads which vessel the messages are of.
func (b *block) whose(dev *Device, c *Config) {
	named := b.text("vessel", &dev.Vessel)
	read(b, "vessel_field", &dev.VesselField, jsonPath)
	inTopic := strings.Contains(dev.Topic, vesselLevel)
	var ways []string
	if inTopic {
		ways = append(ways, "{vessel} in the topic")
	}
	for _, key := range []string{"vessel", "vessel_field"} {
		if b.has(key) {
			ways = append(ways, key)
		}
	}
	switch {
	case len(ways) > 1:
		b.fault(b.find(ways[len(ways)-1]).key, "a device says twice which vessel it is of: %s; keep one", strings.Join(ways, " and "))
	case len(ways) == 0 && dev.Topic != "":
		b.fault(b.place("topic"), "the device on %s does not say which vessel it is of; put {vessel} in the topic, or add vessel or vessel_field", quoted(dev.Topic))
	}
	if named == nil {
		return
	}
	names := make([]string, len(c.Vessels))
	for i, v := range c.Vessels {
		names[i] = v.Name
		if v.Name == dev.Vessel {
			return
		}
	}
	hint := "name it under vessels first"
	if near := nearest(dev.Vessel, names); near != "" {
		hint = "did you mean " + near + "?"
	}
	b.fault(named, "there is no vessel %s; %s", quoted(dev.Vessel), hint)
}

// numberField reads what a bare number is.
func (b *block) numberField(dev *Device) {
	n := read(b, "field", &dev.Field, fieldName)
	switch {
	case dev.Format == "number" && n == nil && !b.has("field"):
		b.missing("field", "write what the number is, such as field: od")
	case dev.Format == "json" && b.has("field"):
		b.fault(b.find("field").key, "\"field\" is for format: number; name JSON fields under fields")
	}
}

// jsonFields reads which JSON fields are which quantities.
func (b *block) jsonFields(dev *Device) {
	n := b.value("fields")
	if n == nil {
		if dev.Format == "json" {
			b.missing("fields", "write which JSON field is what, such as fields: {t: temp_c}")
		}
		return
	}
	pairs := b.pairs(n, "fields")
	if n.Kind == yaml.MappingNode && len(pairs) == 0 {
		b.fault(n, "fields is empty; write which JSON field is what, such as {t: temp_c}")
	}
	taken := map[unit.Quantity]string{}
	for _, p := range pairs {
		path, err := jsonPath(p.key.Value)
		if err != nil {
			b.fault(p.key, "the JSON field %s", err)
		}
		text, ok := b.scalar(p.value, quoted(p.key.Value))
		if !ok {
			continue
		}
		field, err := fieldName(text)
		if err != nil {
			b.fault(p.value, "the field of %s %s", quoted(p.key.Value), err)
			continue
		}
		q := quantityOf(field)
		if before := taken[q]; before != "" {
			b.fault(p.value, "%s and %s both give %s; keep one", quoted(before), quoted(p.key.Value), q)
		}
		taken[q] = p.key.Value
		dev.Fields = append(dev.Fields, Value{Path: path, Field: field})
	}
}

// jsonPath checks the names of a JSON field, parted by dots.
func jsonPath(s string) (string, error) {
	for name := range strings.SplitSeq(s, ".") {
		if strings.TrimSpace(name) == "" {
			return "", sentence("must be names parted by dots, such as probe.temp, not %s", quoted(s))
		}
	}
	return s, nil
}

// crossings checks that no message reaches a device twice, nor two devices.
func (b *block) crossings(n *yaml.Node, dev Device, c *Config) {
	filter := dev.Filter()
	for _, before := range c.Devices {
		if before.Topic != "" && overlap(before.Filter(), filter) {
			b.fault(n, "the topic %s takes messages that the device on %s takes too; make them differ in a level", quoted(dev.Topic), quoted(before.Topic))
		}
	}
	for _, topic := range c.Broker.Topics {
		if overlap(topic, filter) && !coveredBy(c.Broker.Topics, filter) {
			b.fault(n, "the topic %s overlaps with %s of the broker's topics, so messages would come twice; widen one or narrow the other", quoted(dev.Topic), quoted(topic))
		}
	}
}
