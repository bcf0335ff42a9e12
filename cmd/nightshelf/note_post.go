package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"time"

	"github.com/nightshelf/nightshelf/cmd/internal/page"
	"github.com/nightshelf/nightshelf/config"
	"github.com/nightshelf/nightshelf/ingest"
)

// errNobody says that no daemon answered.
var errNobody = errors.New("no daemon answers")

const (
	postWithin = 30 * time.Second // a commit that waits for a locked disk, and some
	mostAnswer = 1 << 20
)

// post gives an entry to the daemon at the room's address.
func post(ctx context.Context, room *config.Config, e ingest.Entry, overrule string) (kept page.APIEntry, doubts []page.APIDoubt, err error) {
	said := page.EntryOf(e)
	said.ID, said.Sentence, said.Written, said.OverruledBy = "", "", nil, overrule
	said.Room = room.Room // another room's page may answer at this address
	if e.At.IsZero() {
		said.At = nil
	}
	body, err := json.Marshal(said)
	if err != nil {
		return kept, nil, fmt.Errorf("say the entry: %w", err)
	}
	ctx, cancel := context.WithTimeout(ctx, postWithin)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, "http://"+room.Listen+"/api/entries", bytes.NewReader(body))
	if err != nil {
		return kept, nil, fmt.Errorf("ask the daemon at %s: %w", room.Listen, err)
	}
	r.Header.Set("Content-Type", "application/json")
	// It is on this machine: no proxy stands between.
	client := &http.Client{Transport: &http.Transport{Proxy: nil, DisableKeepAlives: true},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	answer, err := client.Do(r)
	var dial *net.OpError
	switch {
	case errors.As(err, &dial) && dial.Op == "dial":
		return kept, nil, fmt.Errorf("%w at %s: %w", errNobody, room.Listen, err)
	case err != nil: // it was sent, perhaps
		return kept, nil, fmt.Errorf("the daemon at %s took the entry and did not answer; look with nightshelf log whether it was written: %w", room.Listen, err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(io.LimitReader(answer.Body, mostAnswer))
	if err != nil {
		return kept, nil, fmt.Errorf("read the daemon's answer: %w", err)
	}
	return readAnswer(answer.StatusCode, text)
}

// readAnswer reads what the daemon said to an entry.
func readAnswer(status int, text []byte) (kept page.APIEntry, doubts []page.APIDoubt, err error) {
	if status == http.StatusCreated {
		if err := json.Unmarshal(text, &kept); err != nil || len(kept.ID) < 8 || kept.At == nil {
			return kept, nil, errors.New("the daemon's answer cannot be read; look with nightshelf log whether the entry was written")
		}
		return kept, nil, nil
	}
	var p page.Problem
	if json.Unmarshal(text, &p) != nil || p.Status != status {
		return kept, nil, fmt.Errorf("what answers at the page's address is no nightshelf: status %d", status)
	}
	switch {
	case len(p.Doubts) > 0:
		return kept, p.Doubts, nil
	case len(p.Faults) > 0:
		var all []error
		for _, f := range p.Faults {
			if f.Field == "" {
				all = append(all, errors.New(f.Says))
			} else {
				all = append(all, fmt.Errorf("%s: %s", f.Field, f.Says))
			}
		}
		return kept, nil, errors.Join(all...)
	}
	return kept, nil, fmt.Errorf("the daemon says: %s", p.Detail)
}
