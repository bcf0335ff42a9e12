package broker

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/nightshelf/nightshelf/ingest"
)

// What the zero values in Options stand for.
const (
	DefaultAddress    = "127.0.0.1:1883"
	DefaultMaxPayload = 1 << 20  // bytes
	DefaultMaxPacket  = 16 << 20 // bytes
)

// Options says where to listen, who may come and where the messages go.
type Options struct {
	// Address to listen on, host:port; port 0 takes a free one. Without users
	// only an address of this machine itself (loopback) is accepted. Empty:
	// DefaultAddress.
	Address string
	// Users who may connect, name to password. PasswordFile adds to them: a
	// line name:password each, # begins a comment; it is read at every
	// connection, so that a change needs no restart. With neither, anybody on
	// this machine may connect.
	Users        map[string]string
	PasswordFile string
	// Topics are the filters of what goes to the sink; the rest is only passed
	// on. Empty: everything. The broker's own $SYS topics never go there.
	Topics []string
	// MaxPayload in bytes: a larger message goes to the sink all the same,
	// which sets it aside, but is not passed on. 0: DefaultMaxPayload.
	MaxPayload int
	// MaxPacket in bytes: a larger packet is not even read, and its client is
	// disconnected. At least MaxPayload and some room for the topic. 0:
	// DefaultMaxPacket, or twice MaxPayload if that is more.
	MaxPacket int
	Sink      ingest.Sink
	Logger    *slog.Logger     // nil: silent
	Now       func() time.Time // of arrival; nil: time.Now
}

func (o Options) withDefaults() Options {
	if o.Address == "" {
		o.Address = DefaultAddress
	}
	if o.MaxPayload == 0 {
		o.MaxPayload = DefaultMaxPayload
	}
	if o.MaxPacket == 0 {
		o.MaxPacket = max(DefaultMaxPacket, 2*o.MaxPayload)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	return o
}

// topicRoom is what a packet may need besides its payload, in bytes: the
// longest topic and the fixed parts.
const topicRoom = 65535 + 16

// check holds o, with its defaults filled in, against what can work.
func (o Options) check() error {
	var faults []error
	if o.Sink == nil {
		faults = append(faults, errors.New("no sink to hand messages to"))
	}
	if o.MaxPayload < 0 || o.MaxPacket < 0 || o.MaxPacket > 256<<20 {
		faults = append(faults, errors.New("a size limit is negative or over 256 MiB, the most that MQTT can send"))
	} else if o.MaxPacket < o.MaxPayload+topicRoom {
		faults = append(faults, fmt.Errorf("packets of at most %d bytes leave no room for payloads of %d", o.MaxPacket, o.MaxPayload))
	}
	for name, password := range o.Users {
		if name == "" || password == "" {
			faults = append(faults, fmt.Errorf("user %q: name and password must not be empty", name))
		}
	}
	for _, t := range o.Topics {
		if !mochi.IsValidFilter(t, false) {
			faults = append(faults, fmt.Errorf("topic %q is no valid filter", t))
		}
	}
	return errors.Join(faults...)
}

func (o Options) open() bool { return len(o.Users) == 0 && o.PasswordFile == "" }

// resolve turns the address into one to listen on, and refuses to open an
// unguarded broker to the network.
func (o Options) resolve() (*net.TCPAddr, error) {
	addr, err := net.ResolveTCPAddr("tcp", o.Address)
	if err != nil {
		return nil, fmt.Errorf("listen on %q: %w", o.Address, err)
	}
	if o.open() && (addr.IP == nil || !addr.IP.IsLoopback()) {
		return nil, fmt.Errorf("listen on %q: others on the network could reach it, and no users are set; "+
			"set users with passwords, or listen on 127.0.0.1", o.Address)
	}
	return addr, nil
}
