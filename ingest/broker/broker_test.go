package broker

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
)

func TestAcknowledgesOnlyAfterTheCommit(t *testing.T) {
	sink := newGated()
	now := time.Date(2031, 3, 4, 5, 6, 7, 0, time.UTC)
	b := start(t, sink, func(o *Options) { o.Now = func() time.Time { return now } })
	c := connect(t, b, "sensor")
	c.publish(7, "shelf/C07", "reading,vessel=C07 od=0.4")
	put := sink.next(t)
	m := put.messages[0]
	if m.Topic != "shelf/C07" || string(m.Payload) != "reading,vessel=C07 od=0.4" || m.Arrived != now || m.Retained {
		t.Errorf("message %+v", m)
	}
	c.silent("while the commit is under way")
	put.end <- nil
	c.untilAck(7)
	if st := b.State(); st.Received != 1 || st.Stored != 1 || st.Clients != 1 || st.Connects != 1 || st.LastMessage != now || !st.Listening {
		t.Errorf("state %+v", st)
	}
}

func TestQoS2IsReceivedOnlyAfterTheCommit(t *testing.T) {
	sink := newGated()
	c := connect(t, start(t, sink, nil), "sensor")
	pk := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	pk.Qos, pk.MessageID, pk.TopicName, pk.Payload = 2, 9, "shelf/C07", []byte("x")
	c.send(pk)
	put := sink.next(t)
	c.silent("while the commit is under way")
	put.end <- nil
	if id := read[*packets.PubrecPacket](c).MessageID; id != 9 {
		t.Errorf("PUBREC of %d", id)
	}
	rel := packets.NewControlPacket(packets.Pubrel).(*packets.PubrelPacket)
	rel.MessageID = 9
	c.send(rel)
	if id := read[*packets.PubcompPacket](c).MessageID; id != 9 {
		t.Errorf("PUBCOMP of %d", id)
	}
}

func TestFailedCommitDisconnects(t *testing.T) {
	sink := newGated()
	b := start(t, sink, nil)
	listening := connect(t, b, "ear")
	listening.subscribe("#")
	c := connect(t, b, "sensor")
	c.publish(7, "shelf/C07", "x")
	sink.next(t).end <- errors.New("disk is full")
	c.untilCut()
	if st := b.State(); st.Rejected != 1 || st.Stored != 0 || st.LastError != "store messages: disk is full" {
		t.Errorf("state %+v", st)
	}
	listening.silent("after a message that was not stored")

	c = connect(t, b, "sensor")
	c.publish(7, "shelf/C07", "x")
	sink.next(t).end <- nil
	c.untilAck(7)
	if st := b.State(); st.Stored != 1 || st.LastError != "" {
		t.Errorf("state %+v", st)
	}
}

func TestAnOrdinaryClientSendsAgain(t *testing.T) {
	sink := newGated()
	b := start(t, sink, nil)
	o := paho.NewClientOptions().AddBroker("tcp://" + b.Addr()).SetClientID("sensor").SetCleanSession(false).
		SetProtocolVersion(4).SetMaxReconnectInterval(50 * time.Millisecond)
	c := paho.NewClient(o)
	if token := c.Connect(); !token.WaitTimeout(patienceOfTest) || token.Error() != nil {
		t.Fatal(token.Error())
	}
	defer c.Disconnect(100)
	// Its token tells nothing here: it is completed when a lost connection resumes.
	c.Publish("shelf/C07", 1, false, "reading,vessel=C07 od=0.4")
	sink.next(t).end <- errors.New("disk is full")
	second := sink.next(t)
	if string(second.messages[0].Payload) != "reading,vessel=C07 od=0.4" {
		t.Errorf("sent again: %q", second.messages[0].Payload)
	}
	second.end <- nil
	c.Publish("shelf/C07", 1, false, "next")
	third := sink.next(t)
	if string(third.messages[0].Payload) != "next" {
		t.Errorf("after the second time was stored came %q", third.messages[0].Payload)
	}
	third.end <- nil
}

func TestClientsReachTheSinkTogether(t *testing.T) {
	sink := newGated()
	b := start(t, sink, nil)
	first, second := connect(t, b, "a"), connect(t, b, "b")
	first.publish(1, "shelf/a", "1")
	second.publish(1, "shelf/b", "2")
	one, two := sink.next(t), sink.next(t) // both are with the sink, neither has ended
	one.end <- nil
	two.end <- nil
	first.untilAck(1)
	second.untilAck(1)
}

func TestMessagesArePassedOnAfterTheCommit(t *testing.T) {
	sink := newGated()
	b := start(t, sink, nil)
	ear := connect(t, b, "ear")
	ear.subscribe("shelf/#")
	c := connect(t, b, "sensor")
	c.publish(3, "shelf/C07", "heard")
	put := sink.next(t)
	ear.silent("before the commit")
	copy(put.messages[0].Payload, "XXXXX") // the sink may do what it likes with its copy
	put.end <- nil
	if got := read[*packets.PublishPacket](ear); string(got.Payload) != "heard" {
		t.Errorf("heard %q", got.Payload)
	}
}

func TestWhatGoesToTheSink(t *testing.T) {
	sink := new(memory)
	b := start(t, sink, func(o *Options) { o.Topics = []string{"shelf/+/od", "events"} })
	ear := connect(t, b, "ear")
	ear.subscribe("$SYS/broker/version")
	read[*packets.PublishPacket](ear) // the broker's own, retained
	c := connect(t, b, "sensor")
	c.publish(0, "shelf/C07/od", "at QoS 0")
	c.publish(0, "$SYS/broker/version", "forged")
	for i, topic := range []string{"events", "chatter", "shelf/C07/temp", "shelf/C08/od"} {
		c.publish(uint16(i+1), topic, "")
		c.untilAck(uint16(i + 1))
	}
	if got, want := sink.topics(), []string{"shelf/C07/od", "events", "shelf/C08/od"}; !slices.Equal(got, want) {
		t.Errorf("went to the sink: %q, want %q", got, want)
	}
	ear.silent("after a forged $SYS message")
}

func TestLastWillGoesToTheSink(t *testing.T) {
	sink := newGated()
	b := start(t, sink, nil)
	c := dial(t, b)
	pk := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	pk.ProtocolName, pk.ProtocolVersion, pk.ClientIdentifier, pk.Keepalive, pk.CleanSession = "MQTT", 4, "sensor", 60, true
	pk.WillFlag, pk.WillTopic, pk.WillMessage = true, "shelf/C07/will", []byte("gone")
	c.send(pk)
	read[*packets.ConnackPacket](c)
	_ = c.conn.Close()
	put := sink.next(t)
	if m := put.messages[0]; m.Topic != "shelf/C07/will" || string(m.Payload) != "gone" {
		t.Errorf("message %+v", m)
	}
	put.end <- nil
}

func TestHugePayloads(t *testing.T) {
	huge := strings.Repeat("x", 10<<20)
	t.Run("over the payload limit: set aside by the sink, acknowledged", func(t *testing.T) {
		sink := newGated()
		b := start(t, sink, nil)
		ear := connect(t, b, "ear")
		ear.subscribe("#")
		c := connect(t, b, "sensor")
		c.publish(1, "shelf/C07", huge)
		put := sink.next(t)
		if n := len(put.messages[0].Payload); n != len(huge) {
			t.Errorf("%d bytes reached the sink", n)
		}
		put.end <- nil
		c.untilAck(1)
		ear.silent("after a message that is too large to pass on")
		c.publish(2, "shelf/C07", "small")
		sink.next(t).end <- nil
		c.untilAck(2)
		if st := b.State(); st.Oversize != 1 || st.Stored != 2 {
			t.Errorf("state %+v", st)
		}
	})
	t.Run("over the packet limit: not read", func(t *testing.T) {
		sink := new(memory)
		b := start(t, sink, func(o *Options) { o.MaxPacket = 2 << 20 })
		c := connect(t, b, "sensor")
		pk := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
		pk.MessageID, pk.Qos, pk.TopicName, pk.Payload = 1, 1, "shelf/C07", []byte(huge)
		_ = pk.Write(c.conn) // cut in the middle, or not
		c.untilCut()
		c = connect(t, b, "sensor")
		c.publish(2, "shelf/C07", "small")
		c.untilAck(2)
		if st := b.State(); st.Oversize != 1 || st.Stored != 1 {
			t.Errorf("state %+v", st)
		}
	})
}

func TestGarbageEndsOnlyItsConnection(t *testing.T) {
	b := start(t, new(memory), nil)
	good := connect(t, b, "good")
	for _, junk := range []string{"GET / HTTP/1.1\r\n\r\n", "\x10\x00", "\x10\x04\x00\x04MQ", "\xff\xff\xff\xff\xff", "\x30\x02\x00\x09"} {
		c := dial(t, b)
		if _, err := c.conn.Write([]byte(junk)); err != nil {
			t.Fatal(err)
		}
		_ = c.conn.(interface{ CloseWrite() error }).CloseWrite()
		c.untilCut()
	}
	bad := connect(t, b, "bad")
	_, _ = bad.conn.Write([]byte("\x32\x03\x00\x09x")) // a publication whose topic is longer than it
	bad.untilCut()
	good.publish(1, "shelf/C07", "x")
	good.untilAck(1)
}

func TestUsers(t *testing.T) {
	file := filepath.Join(t.TempDir(), "users")
	write := func(text string) {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write("# sensors\nshelf:pw-one\n")
	var log bytes.Buffer
	b := start(t, new(memory), func(o *Options) {
		o.Users, o.PasswordFile = map[string]string{"page": "pw-two"}, file
		o.Logger = slog.New(slog.NewTextHandler(&log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	})
	try := func(user, password string, want byte) {
		t.Helper()
		if code := dial(t, b).login("x", user, password); code != want {
			t.Errorf("%s:%s answered with %d, want %d", user, password, code, want)
		}
	}
	const refused = 5 // not authorised, MQTT 3.1.1 section 3.2.2.3 (from memory)
	try("shelf", "pw-one", 0)
	try("page", "pw-two", 0)
	try("shelf", "pw-two", refused)
	try("nobody", "", refused)
	try("", "", refused)
	write("shelf:pw-three\nbroken-secret\n")
	try("shelf", "pw-one", refused)
	try("shelf", "pw-three", 0)
	st := b.State()
	if want := file + ":2: want name:password"; st.LastError != want || st.Refused != 4 {
		t.Errorf("state %+v, want the error %q", st, want)
	}
	ctx, cancel := context.WithTimeout(context.Background(), patienceOfTest)
	defer cancel()
	if err := b.Stop(ctx); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(log.String(), "broker library: ") {
		t.Error("the library's log goes elsewhere")
	}
	for _, word := range []string{"pw-", "broken-secret"} {
		if strings.Contains(log.String(), word) {
			t.Errorf("the log holds a password: %s", log.String())
		}
	}
	if !strings.Contains(log.String(), "client refused") {
		t.Errorf("the log tells nothing of refused clients: %s", log.String())
	}
}

func TestOptionsAreChecked(t *testing.T) {
	for want, change := range map[string]func(*Options){
		`others on the network could reach it, and no users are set`: func(o *Options) { o.Address = ":1883" },
		`listen on "0.0.0.0:0"`:                 func(o *Options) { o.Address = "0.0.0.0:0" },
		`listen on "[::]:1883"`:                 func(o *Options) { o.Address = "[::]:1883" },
		`listen on "127.0.0.1"`:                 func(o *Options) { o.Address = "127.0.0.1" },
		`no sink`:                               func(o *Options) { o.Sink = nil },
		`topic "a/#/b" is no valid filter`:      func(o *Options) { o.Topics = []string{"a/#/b"} },
		`user "x": name and password`:           func(o *Options) { o.Users = map[string]string{"x": ""} },
		`leave no room for payloads of 1048576`: func(o *Options) { o.MaxPacket = 1 << 20 },
		`a size limit is negative`:              func(o *Options) { o.MaxPayload = -1 },
	} {
		o := Options{Address: "127.0.0.1:0", Sink: new(memory)}
		change(&o)
		if _, err := New(o); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want %q", err, want)
		}
	}
	for _, o := range []Options{
		{Address: "localhost:0"},
		{Address: "[::1]:0"},
		{Address: ":0", Users: map[string]string{"shelf": "one"}},
		{Address: ":0", PasswordFile: "users"},
	} {
		o.Sink = new(memory)
		if _, err := New(o); err != nil {
			t.Errorf("%+v: %v", o, err)
		}
	}
}

func TestPortIsTaken(t *testing.T) {
	first := start(t, new(memory), nil)
	second, err := New(Options{Address: first.Addr(), Sink: new(memory)})
	if err != nil {
		t.Fatal(err)
	}
	err = second.Start(context.Background())
	if want := fmt.Sprintf("listen on %q: the port is taken", first.Addr()); err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("got %v, want %q", err, want)
	}
	if err := second.Stop(context.Background()); err != nil {
		t.Errorf("stop after a failed start: %v", err)
	}
}

func TestStopLetsTheSinkFinish(t *testing.T) {
	sink := newGated()
	b := start(t, sink, nil)
	idle := dial(t, b) // never introduces itself
	c := connect(t, b, "sensor")
	c.publish(1, "shelf/C07", "x")
	put := sink.next(t)
	stopped := make(chan error, 1)
	go func() { stopped <- b.Stop(context.Background()) }()
	<-b.stopping
	select {
	case err := <-stopped:
		t.Fatalf("stopped while a message was with the sink: %v", err)
	default:
	}
	put.end <- nil
	if err := <-stopped; err != nil {
		t.Error(err)
	}
	idle.untilCut()
	if st := b.State(); st.Stored != 1 || st.Listening || st.Clients != 0 {
		t.Errorf("state %+v", st)
	}
	if err := b.Start(context.Background()); err == nil {
		t.Error("started again")
	}
}

func TestStopGivesUp(t *testing.T) {
	sink := newGated()
	b := start(t, sink, nil)
	c := connect(t, b, "sensor")
	c.publish(1, "shelf/C07", "x")
	sink.next(t) // and never ends it
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := b.Stop(ctx); !errors.Is(err, context.Canceled) || !strings.Contains(err.Error(), "given up") {
		t.Errorf("stop: %v", err)
	}
	c.untilCut() // and no PUBACK
}

func TestEndOfContextStops(t *testing.T) {
	b, err := New(Options{Address: "127.0.0.1:0", Sink: new(memory)})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	if err := b.Start(ctx); err != nil {
		t.Fatal(err)
	}
	cancel()
	select {
	case <-b.finished:
	case <-time.After(patienceOfTest):
		t.Fatal("goes on after its context has ended")
	}
	if err := b.Stop(context.Background()); err != nil {
		t.Error(err)
	}
}

func TestLibraryLogIsQuietAndKeepsSecrets(t *testing.T) {
	var out bytes.Buffer
	to := slog.NewTextHandler(&out, &slog.HandlerOptions{Level: slog.LevelDebug})
	log := slog.New(quiet{to: to}).With("hook", "h", "packet", "secret")
	log.Warn("error processing packet", "pk", packets.NewControlPacket(packets.Connect), "client", "c")
	log.Error("bad")
	got := out.String()
	for _, want := range []string{"level=DEBUG", `msg="broker library: error processing packet" hook=h client=c`, "level=WARN", `"broker library: bad"`} {
		if !strings.Contains(got, want) {
			t.Errorf("log %s lacks %s", got, want)
		}
	}
	if strings.Contains(got, "secret") || strings.Contains(got, "pk=") {
		t.Errorf("log shows a packet: %s", got)
	}
}
