package mqtt

import (
	"cmp"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"net"
	"net/url"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/nightshelf/nightshelf/ingest"
)

// What the zero values in Options stand for.
const (
	DefaultMaxBatch   = 500                  // messages
	DefaultIdle       = 5 * time.Millisecond // without a new message
	DefaultInbox      = 10_000               // messages; more than any broker's window
	DefaultInboxBytes = 64 << 20             // bytes of payload
)

// Options says what to listen to and where the messages go.
type Options struct {
	// URL of the broker: mqtt://host:1883, or mqtts://host:8883 for TLS
	// (tcp, ssl and tls are understood too). A user name may stand in it, a
	// password may not.
	URL string
	// ClientID names the session at the broker. It must stay the same over
	// restarts and no other client may use it.
	ClientID string
	Username string
	// PasswordFile holds the password, a line break at its end is cut. It is
	// read before every connection, so that a new one needs no restart.
	PasswordFile string
	// CAFile holds certificates (PEM) that the broker's must come from; empty
	// means those of the system. CertFile and KeyFile are our own, if the
	// broker asks for one. All are read before every connection.
	CAFile, CertFile, KeyFile string
	// Topics are the filters to subscribe to, at QoS 1; at least one.
	Topics []string
	Sink   ingest.Sink
	Logger *slog.Logger // nil: silent

	MaxBatch   int           // messages in one Put at most; 0: DefaultMaxBatch
	Idle       time.Duration // a batch is put when nothing came for so long; 0: DefaultIdle
	Inbox      int           // messages taken and not yet kept at most; 0: DefaultInbox
	InboxBytes int           // their payloads at most, bytes; 0: DefaultInboxBytes
	// MaxPayload in bytes; larger messages are counted and logged, and go to
	// the sink all the same, which sets them aside. 0: no limit.
	MaxPayload int
	// FirstWait bounds the random wait before the first connection, so that
	// many rooms do not come at once after a power cut. 0: one second;
	// negative: none.
	FirstWait time.Duration
	Now       func() time.Time // of arrival; nil: time.Now
}

// withDefaults fills what is zero.
func (o Options) withDefaults() Options {
	o.MaxBatch = orElse(o.MaxBatch, DefaultMaxBatch)
	o.Idle = orElse(o.Idle, DefaultIdle)
	o.Inbox = orElse(o.Inbox, DefaultInbox)
	o.InboxBytes = orElse(o.InboxBytes, DefaultInboxBytes)
	o.MaxPayload = orElse(o.MaxPayload, math.MaxInt)
	o.FirstWait = max(orElse(o.FirstWait, time.Second), 0)
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	return o
}

func orElse[T int | time.Duration](v, otherwise T) T {
	if v == 0 {
		return otherwise
	}
	return v
}

// check reports everything that is wrong with o, at once.
func (o Options) check() error {
	var faults []error
	if o.Sink == nil {
		faults = append(faults, errors.New("no sink to hand messages to"))
	}
	if o.ClientID == "" {
		faults = append(faults, errors.New("the client id is empty; the broker keeps what we missed under it"))
	}
	if o.MaxBatch < 0 || o.Idle < 0 || o.Inbox < 0 || o.InboxBytes < 0 || o.MaxPayload < 0 {
		faults = append(faults, errors.New("a limit is negative"))
	}
	if len(o.Topics) == 0 {
		faults = append(faults, errors.New("no topic to subscribe to"))
	}
	for _, t := range o.Topics {
		if err := checkFilter(t); err != nil {
			faults = append(faults, err)
		}
	}
	return errors.Join(faults...)
}

// checkFilter holds a topic filter against MQTT 3.1.1, section 4.7.
func checkFilter(filter string) error {
	switch {
	case filter == "":
		return errors.New("a topic is empty")
	case len(filter) > 65535 || !utf8.ValidString(filter) || strings.ContainsRune(filter, 0):
		return fmt.Errorf("topic %.60q: no text, or too long", filter)
	}
	levels := strings.Split(filter, "/")
	for i, level := range levels {
		if strings.Contains(level, "#") && (level != "#" || i != len(levels)-1) {
			return fmt.Errorf("topic %q: # stands alone and last", filter)
		}
		if strings.Contains(level, "+") && level != "+" {
			return fmt.Errorf("topic %q: + stands alone between slashes", filter)
		}
	}
	return nil
}

// address is a broker's address taken apart.
type address struct {
	host   string // name or number and port, for dialling
	name   string // without the port, for its certificate
	user   string
	secure bool
	show   string // for logs and errors
}

// parseURL takes a broker's URL apart. Errors never quote a password.
func parseURL(raw string) (address, error) {
	u, err := url.Parse(raw)
	if err != nil || u.Hostname() == "" {
		return address{}, errors.New("broker url: want something like mqtt://localhost:1883")
	}
	if _, has := u.User.Password(); has {
		return address{}, fmt.Errorf("broker url %s: a password does not belong here; put it into a password file", u.Redacted())
	}
	a := address{name: u.Hostname(), user: u.User.Username()}
	port := u.Port()
	switch u.Scheme {
	case "mqtt", "tcp":
		port = cmp.Or(port, "1883")
	case "mqtts", "ssl", "tls":
		a.secure = true
		port = cmp.Or(port, "8883")
	default:
		return address{}, fmt.Errorf("broker url %q: scheme %q is not known; use mqtt or mqtts", raw, u.Scheme)
	}
	a.host = net.JoinHostPort(a.name, port)
	a.show = u.Scheme + "://" + a.host
	return a, nil
}
