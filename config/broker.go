package config

import (
	"net/url"
	"strings"
	"time"

	"gopkg.in/yaml.v3"
)

// broker reads where readings come from.
func (d *decoder) broker(room *block, c *Config) {
	n := room.value("broker")
	if n == nil {
		room.missing("broker", "write broker: {embedded: 127.0.0.1:1883} for one inside, or {url: tcp://HOST:1883} for one that runs already")
		return
	}
	b, to := d.block(n, "broker"), &c.Broker
	b.account(to)
	embedded, address := b.embedded(c), b.brokerURL(to)
	switch {
	case b.has("embedded") && b.has("url"):
		b.fault(b.place("url"), "broker has both embedded and url %s; keep the one that is meant", quoted(ShownURL(b.place("url").Value)))
	case !b.has("embedded") && !b.has("url"):
		b.missing("embedded or url", "write embedded: 127.0.0.1:1883 for a broker inside, or url: tcp://HOST:1883 for one that runs already")
	}
	b.clientID(c, embedded != nil)
	b.precision(to)
	b.size("max_payload", &to.MaxPayload)
	b.topics(to)
	if address != nil && to.Username != "" && plainOutside(to.URL) {
		b.warn(address, "the password of %s crosses the network unprotected with %s; use ssl://", quoted(to.Username), quoted(to.URL))
	}
	b.close()
}

// plainOutside reports whether address is on another machine without TLS.
func plainOutside(address string) bool {
	u, err := url.Parse(address)
	return err == nil && u.Scheme == "tcp" && !isLoopback(u.Hostname())
}

// account reads username and password.
func (b *block) account(to *Broker) {
	b.text("username", &to.Username)
	to.Password, _ = b.secretFile("password_file")
	if to.Username == "" && b.has("password_file") {
		// OASIS MQTT 3.1.1, [MQTT-3.1.2-22].
		b.fault(b.place("password_file"), "password_file %s needs a username beside it", quoted(b.place("password_file").Value))
	}
}

// embedded reads the address of our own broker.
func (b *block) embedded(c *Config) *yaml.Node {
	to := &c.Broker
	n := read(b, "embedded", &to.Embedded, address("127.0.0.1:1883"))
	if n == nil {
		return nil
	}
	if to.Username != "" && !b.has("password_file") {
		b.fault(b.place("username"), "username %s needs a password_file beside it, or every device could say it", quoted(to.Username))
	}
	if !loopback(to.Embedded) && (to.Username == "" || !b.has("password_file")) {
		b.fault(n, "embedded %s lets every machine that reaches it write readings; keep it on 127.0.0.1, or give username and password_file", quoted(to.Embedded))
	}
	if to.Embedded == c.Listen && !strings.HasSuffix(c.Listen, ":0") {
		b.fault(n, "embedded %s is the address of the page too; give the broker another port", quoted(to.Embedded))
	}
	return n
}

// brokerURL reads the address of a broker that runs elsewhere.
func (b *block) brokerURL(to *Broker) *yaml.Node {
	return read(b, "url", &to.URL, func(s string) (string, error) {
		u, err := url.Parse(s)
		if err != nil || u.Host == "" {
			return "", sentence("must be an address such as tcp://127.0.0.1:1883, not %s", quoted(ShownURL(s)))
		}
		switch u.Scheme {
		case "tcp", "ssl":
		default:
			return "", sentence("must begin with tcp:// or ssl://, not %s", quoted(u.Scheme+"://"))
		}
		if u.User != nil {
			return "", sentence("must not hold a name or password (before the @ of %s); use username and password_file", quoted(u.Host))
		}
		if u.Hostname() == "" {
			return "", sentence("names no host: %s", quoted(ShownURL(s)))
		}
		if u.Port() == "" {
			return "", sentence("needs a port, mostly 1883, or 8883 for ssl: %s", quoted(ShownURL(s)))
		}
		return s, goodPort(u)
	})
}

// clientID reads the id, or makes one of the room's name.
func (b *block) clientID(c *Config, embedded bool) {
	c.Broker.ClientID = clientID(c.Room)
	n := b.text("client_id", &c.Broker.ClientID)
	if n == nil {
		return
	}
	if length := len([]rune(c.Broker.ClientID)); length < 1 || length > 64 {
		b.fault(n, "client_id must be 1 to 64 characters, not %s", quoted(n.Value))
	}
	if embedded {
		b.warn(n, "client_id %s is not used: the embedded broker has no client", quoted(n.Value))
	}
}

// clientID is nightshelf- and what of the room's name is letters and digits.
func clientID(room string) string {
	var slug strings.Builder
	for _, r := range strings.ToLower(room) {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			slug.WriteRune(r)
		} else if s := slug.String(); s != "" && !strings.HasSuffix(s, "-") {
			slug.WriteByte('-')
		}
	}
	id := "nightshelf-" + slug.String()
	return strings.TrimRight(id[:min(len(id), 64)], "-")
}

// Precisions are the units of line-protocol stamps by their names.
var precisions = map[string]time.Duration{"ns": time.Nanosecond, "us": time.Microsecond, "ms": time.Millisecond, "s": time.Second}

func (b *block) precision(to *Broker) {
	word := "ns"
	if b.choice("precision", &word, "ns", "us", "ms", "s") != nil {
		to.Precision = precisions[word]
	}
}

// topics reads the filters to subscribe to.
func (b *block) topics(to *Broker) {
	if !b.has("topics") {
		return
	}
	items := b.items("topics", 200)
	if n := b.value("topics"); n.Kind == yaml.SequenceNode && len(items) == 0 {
		b.fault(n, "topics is an empty list; name at least one filter, or leave the key out for nightshelf/#")
	}
	to.Topics = nil
	for _, item := range items {
		filter, ok := b.scalar(item, "a topic")
		if !ok {
			continue
		}
		if err := goodFilter(filter); err != nil {
			b.fault(item, "the topic %s %s", quoted(filter), err)
			continue
		}
		for _, before := range to.Topics {
			if overlap(before, filter) {
				b.fault(item, "the topics %s and %s overlap, so messages would come twice; keep one that covers both", quoted(before), quoted(filter))
			}
		}
		to.Topics = append(to.Topics, filter)
	}
}
