package broker

import (
	"bytes"
	"errors"
	"slices"
	"strings"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
	"github.com/nightshelf/nightshelf/ingest"
)

// holdOff is how long a client whose message could not be stored waits for its
// disconnection, so that one that comes back at once does not spin.
const holdOff = 250 * time.Millisecond

var errStopping = errors.New("the broker is stopping")

// hook is where the library tells what clients do.
type hook struct {
	mochi.HookBase
	b *Broker
}

// ID names the hook in the library's logs.
func (h *hook) ID() string { return "ingest" }

// Provides lists what the library should ask.
func (h *hook) Provides(what byte) bool {
	return slices.Contains([]byte{mochi.OnConnectAuthenticate, mochi.OnACLCheck, mochi.OnPublish,
		mochi.OnDisconnect, mochi.OnWillSent}, what)
}

// OnConnectAuthenticate lets known users in.
func (h *hook) OnConnectAuthenticate(cl *mochi.Client, pk packets.Packet) bool {
	ok, fault := h.b.o.admit(string(pk.Connect.Username), string(pk.Connect.Password))
	if h.b.track.asked(ok, fault) {
		h.b.log.Error("the password file cannot be used in full", "error", fault)
	}
	if !ok {
		h.b.log.Warn("client refused: name or password", "client", cl.ID, "user", string(pk.Connect.Username), "remote", cl.Net.Remote)
	}
	return ok
}

// OnACLCheck lets everybody who is in read and write everything but the
// broker's own topics, which may be read only.
func (h *hook) OnACLCheck(_ *mochi.Client, topic string, write bool) bool {
	return !write || !isSys(topic)
}

// OnPublish hands a publication to the sink and returns when the sink has it;
// only then does the library acknowledge.
func (h *hook) OnPublish(cl *mochi.Client, pk packets.Packet) (packets.Packet, error) {
	if cl.Net.Inline || !h.b.wanted(pk.TopicName) {
		return pk, nil
	}
	if err := h.b.put(pk.TopicName, pk.Payload); err != nil {
		h.reject(cl)
		return pk, packets.ErrRejectPacket // any other error would be acknowledged to 3.1.1 clients
	}
	if len(pk.Payload) > h.b.o.MaxPayload {
		return pk, packets.CodeSuccessIgnore // acknowledged, not passed on
	}
	return pk, nil
}

// reject disconnects a client so that it sends again when it is back.
func (h *hook) reject(cl *mochi.Client) {
	timer := time.NewTimer(holdOff)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-h.b.stopping:
	}
	if cl.Properties.ProtocolVersion >= 5 {
		_ = h.b.server.DisconnectClient(cl, packets.ErrServerBusy) // says why, which 3.1.1 cannot
		return
	}
	cl.Stop(packets.ErrServerBusy)
}

// OnWillSent hands a last will to the sink, as any message. Nobody waits for
// its acknowledgement, so if it cannot be stored it is lost.
func (h *hook) OnWillSent(cl *mochi.Client, pk packets.Packet) {
	if !h.b.wanted(pk.TopicName) {
		return
	}
	if err := h.b.put(pk.TopicName, pk.Payload); err != nil && !errors.Is(err, errStopping) {
		h.b.log.Warn("a last will could not be stored", "client", cl.ID, "topic", pk.TopicName, "error", err)
	}
}

// OnDisconnect notes clients that sent too much.
func (h *hook) OnDisconnect(cl *mochi.Client, err error, _ bool) {
	if !errors.Is(err, packets.ErrPacketTooLarge) {
		return
	}
	h.b.track.tooLarge()
	h.b.log.Warn("client sent a packet over the limit and was disconnected", "client", cl.ID,
		"remote", cl.Net.Remote, "limit", h.b.o.MaxPacket)
}

// put gives one message to the sink, unless the broker is stopping.
func (b *Broker) put(topic string, payload []byte) error {
	if !b.enter() {
		return errStopping
	}
	defer b.busy.Done()
	at := b.o.Now()
	b.track.arrived(at, len(payload) > b.o.MaxPayload)
	// The library passes the payload on after this, so the sink gets its own.
	m := ingest.Message{Topic: topic, Payload: bytes.Clone(payload), Arrived: at}
	err := b.o.Sink.Put(b.hard, []ingest.Message{m})
	if changed := b.track.put(err); changed && err != nil {
		b.log.Error("messages cannot be stored; they are not acknowledged and their senders are disconnected", "error", err)
	} else if changed {
		b.log.Info("messages are stored again")
	}
	return err
}

// wanted reports whether messages of the topic go to the sink.
func (b *Broker) wanted(topic string) bool {
	if isSys(topic) {
		return false
	}
	return len(b.o.Topics) == 0 || len(b.filters.Subscribers(topic).Subscriptions) > 0
}

func isSys(topic string) bool {
	first, _, _ := strings.Cut(topic, "/")
	return strings.EqualFold(first, mochi.SysPrefix)
}

// enter counts one more message in hand; false when the broker is stopping.
func (b *Broker) enter() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	select {
	case <-b.stopping:
		return false
	default:
	}
	b.busy.Add(1)
	return true
}
