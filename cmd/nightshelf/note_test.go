package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"github.com/nightshelf/nightshelf/cmd/internal/daemon"
	"github.com/nightshelf/nightshelf/config"
)

// Entries over MQTT, over the API and by note fold into one logbook, beside a
// running daemon and without one; the watch takes in what was written while
// it was away.
func TestEntriesFoldAlikeWhateverTheirWay(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "room.yaml")
	const text = "room: Test room\ndata: room.db\nlisten: 127.0.0.1:0\nbroker: {embedded: \"127.0.0.1:0\", topics: [\"shelf/#\"]}\n" +
		"vessels: [{name: C07, volume_l: 18}, {name: C08, volume_l: 18}]\n"
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	room, err := config.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	type line struct{ out, errs string }
	typed := func(room *config.Config, overrule, words string) (line, error) {
		var out, errs bytes.Buffer
		err := note(t.Context(), &out, &errs, room, noted{overrule: overrule, words: strings.Fields(words)})
		return line{out.String(), errs.String()}, err
	}
	nobody := *room
	nobody.Listen = "127.0.0.1:1"
	if l, err := typed(&nobody, "ana", "C07 inoculate 1.8L --lot T1 --strain tisochrysis-lutea --volume 18L"); err != nil {
		t.Fatalf("offline: %v %+v", err, l)
	}

	d, err := daemon.New(t.Context(), daemon.Options{Config: room})
	if err != nil {
		t.Fatal(err)
	}
	if err := d.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	stop := func() {
		ctx, cancel := context.WithTimeout(context.Background(), 15*time.Second)
		defer cancel()
		if err := d.Stop(ctx); err != nil {
			t.Error(err)
		}
	}
	watched := *room
	watched.Listen = strings.TrimPrefix(d.PageURL(), "http://")
	if _, err := typed(&nobody, "", "C07 rinse"); err == nil || !strings.Contains(err.Error(), "a daemon holds") {
		t.Errorf("a daemon that does not answer where it should: %v", err)
	}
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + d.BrokerAddress()).SetClientID("bench"))
	if tok := c.Connect(); !tok.WaitTimeout(10*time.Second) || tok.Error() != nil {
		t.Fatal(tok.Error())
	}
	if tok := c.Publish("shelf/a", 1, false, `event,vessel=C07,kind=harvest volume_l=6`); !tok.WaitTimeout(10*time.Second) || tok.Error() != nil {
		t.Fatal(tok.Error())
	}
	c.Disconnect(100)
	if l, err := typed(&watched, "", "C07 harvest 20L"); err == nil || !strings.Contains(l.errs, "20 L are more than the 12 L that stand in C07") {
		t.Errorf("after six of eighteen litres: %v %+v", err, l)
	}
	if l, err := typed(&watched, "", "C07 harvest 2L"); err != nil || !strings.Contains(l.out, "harvest: 2 L") {
		t.Errorf("beside a daemon: %v %+v", err, l)
	}
	if _, err := typed(&watched, "", "C07 harvest -2L"); err == nil {
		t.Error("nonsense was written")
	}
	stop()
	if l, err := typed(&nobody, "", "C07 harvest 12L"); err == nil || !strings.Contains(l.errs, "more than the 10 L that stand in C07") {
		t.Errorf("offline again: %v %+v", err, l)
	}
	book, err := readBook(t.Context(), room)
	if err != nil {
		t.Fatal(err)
	}
	if l, _ := book.Lot("T1"); l.HarvestedL() != 8 || len(l.Harvests) != 2 {
		t.Errorf("lot T1 was harvested of %v L in %d draws, want 8 in 2", l.HarvestedL(), len(l.Harvests))
	}
}
