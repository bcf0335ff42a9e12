package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/nightshelf/nightshelf/alerts"
	"github.com/nightshelf/nightshelf/analysis"
	"github.com/nightshelf/nightshelf/ingest"
	"github.com/nightshelf/nightshelf/ingest/store"
)

var _ Database = (*store.Store)(nil)

var night = time.Date(2026, 1, 11, 2, 0, 0, 0, time.UTC)

func opened(t *testing.T) (*Ledger, *store.Store) {
	t.Helper()
	s, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "room.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	l, err := Open(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	return l, s
}

func alarm(id, vessel string, raised time.Duration, state alerts.State) alerts.Alarm {
	return alerts.Alarm{ID: id, Key: analysis.Key{Vessel: vessel, Class: analysis.Airflow}, State: state, Raised: night.Add(raised)}
}

func call(id string, queued time.Duration, prio alerts.Priority) alerts.Call {
	return alerts.Call{ID: id, Vessel: "C07", Prio: prio, State: alerts.Queued, Queued: night.Add(queued), Next: night.Add(queued)}
}

func commit(t *testing.T, l *Ledger, d Decision) {
	t.Helper()
	if err := l.Commit(t.Context(), d); err != nil {
		t.Fatal(err)
	}
}

func tamper(t *testing.T, s *store.Store, script string) {
	t.Helper()
	if err := s.Update(t.Context(), func(tx *sql.Tx) error {
		_, err := tx.Exec(script)
		return err
	}); err != nil {
		t.Fatal(err)
	}
}

// filled returns a T in which nothing is zero, so that a field that is not
// kept shows.
func filled[T any]() (v T) {
	n := 0
	fill(reflect.ValueOf(&v).Elem(), &n)
	return v
}

func fill(v reflect.Value, n *int) {
	*n++
	switch v.Interface().(type) {
	case time.Time:
		v.Set(reflect.ValueOf(night.Add(time.Duration(*n) * time.Millisecond)))
		return
	}
	switch v.Kind() {
	case reflect.String:
		v.SetString(fmt.Sprint("word ", *n))
	case reflect.Int, reflect.Int64:
		v.SetInt(int64(*n))
	case reflect.Int8:
		v.SetInt(int64(*n % 100))
	case reflect.Uint8:
		v.SetUint(uint64(*n % 200))
	case reflect.Float64:
		v.SetFloat(float64(*n) + 0.5)
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Struct:
		for i := range v.NumField() {
			fill(v.Field(i), n)
		}
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		for i := range 2 {
			fill(v.Index(i), n)
		}
	default:
		panic("no value for a " + v.Kind().String())
	}
}

func TestEveryFieldIsKept(t *testing.T) {
	l, _ := opened(t)
	a, c := filled[alerts.Alarm](), filled[alerts.Call]()
	commit(t, l, Decision{Alarms: []alerts.Alarm{a}, Calls: []alerts.Call{c}})
	if got, err := l.Alarm(t.Context(), a.ID); err != nil || !reflect.DeepEqual(got, a) {
		t.Errorf("%v\n got %+v\nwant %+v", err, got, a)
	}
	if got, err := l.Call(t.Context(), c.ID); err != nil || !reflect.DeepEqual(got, c) {
		t.Errorf("%v\n got %+v\nwant %+v", err, got, c)
	}
}

func TestWhatJSONCannotSay(t *testing.T) {
	l, _ := opened(t)
	a := alarm("a", "Regal 2 / \"links\"\n<b>", 0, alerts.Unacknowledged)
	a.Raised = time.Date(2026, 1, 11, 3, 0, 0, 999_999, time.FixedZone("CET", 3600))
	a.Finding.Evidence = []analysis.Evidence{{Name: "airflow", Value: math.NaN(), Normal: 4.5}, {Name: "od", Value: 0.4, Normal: math.NaN()}}
	commit(t, l, Decision{Alarms: []alerts.Alarm{a}})
	got, err := l.Alarm(t.Context(), "a")
	if err != nil {
		t.Fatal(err)
	}
	e := got.Finding.Evidence
	if len(e) != 2 || !math.IsNaN(e[0].Value) || e[0].Normal != 4.5 || e[1].Value != 0.4 || !math.IsNaN(e[1].Normal) {
		t.Errorf("evidence came back as %+v", e)
	}
	if got.Raised != night || got.Vessel != a.Vessel || !got.Ended.IsZero() {
		t.Errorf("raised %v, vessel %q, ended %v", got.Raised, got.Vessel, got.Ended)
	}
}

func TestResume(t *testing.T) {
	l, s := opened(t)
	if r, err := l.Resume(t.Context()); err != nil || r.Found {
		t.Errorf("an empty ledger gives %+v, %v", r, err)
	}
	commit(t, l, Decision{Cursor: 5, RoomTime: night, Version: 2, Snapshot: []byte{0, 1, 255}})
	want := Resume{Cursor: 5, RoomTime: night, Version: 2, Snapshot: []byte{0, 1, 255}, Found: true}
	again, err := Open(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	if r, err := again.Resume(t.Context()); err != nil || !reflect.DeepEqual(r, want) {
		t.Errorf("got %+v, %v, want %+v", r, err, want)
	}
	back := Decision{Cursor: 4, Alarms: []alerts.Alarm{alarm("a", "C07", 0, alerts.Unacknowledged)}, Calls: []alerts.Call{call("c", 0, alerts.High)}}
	if err := l.Commit(t.Context(), back); !errors.Is(err, ErrBackwards) || !strings.Contains(err.Error(), "batch 4") {
		t.Errorf("a cursor that goes back gives %v", err)
	}
	if all, err := l.Alarms(t.Context(), Filter{}); err != nil || len(all) != 0 {
		t.Errorf("its alarms were kept: %v, %v", all, err)
	}
	commit(t, l, Decision{Cursor: 5, RoomTime: night.Add(time.Hour)}) // time alone may pass
	if r, err := l.Resume(t.Context()); err != nil || r.RoomTime != night.Add(time.Hour) || len(r.Snapshot) != 0 {
		t.Errorf("got %+v, %v", r, err)
	}
}

func TestWholeOrNotAtAll(t *testing.T) {
	l, _ := opened(t)
	for name, d := range map[string]Decision{
		"alarm without id": {Cursor: 1, Calls: []alerts.Call{call("c", 0, alerts.High)}, Alarms: []alerts.Alarm{alarm("a", "C07", 0, ""), alarm("", "C08", 0, "")}},
		"call without id":  {Cursor: 1, Alarms: []alerts.Alarm{alarm("a", "C07", 0, "")}, Calls: []alerts.Call{call("c", 0, alerts.High), call("", 0, alerts.High)}},
	} {
		if err := l.Commit(t.Context(), d); err == nil || !strings.Contains(err.Error(), "has no id") {
			t.Errorf("%s: %v", name, err)
		}
		r, err := l.Resume(t.Context())
		alarms, err2 := l.Alarms(t.Context(), Filter{})
		calls, err3 := l.Calls(t.Context(), 0)
		if r.Found || len(alarms)+len(calls) > 0 || errors.Join(err, err2, err3) != nil {
			t.Errorf("%s: left %+v, %v, %v (%v, %v, %v)", name, r, alarms, calls, err, err2, err3)
		}
	}
}

func ids[T any](all []T, id func(T) string) string {
	var out []string
	for _, one := range all {
		out = append(out, id(one))
	}
	return strings.Join(out, " ")
}

func alarmIDs(all []alerts.Alarm) string {
	return ids(all, func(a alerts.Alarm) string { return a.ID })
}

func callIDs(all []alerts.Call) string { return ids(all, func(c alerts.Call) string { return c.ID }) }

func TestAlarms(t *testing.T) {
	l, _ := opened(t)
	commit(t, l, Decision{Alarms: []alerts.Alarm{alarm("a", "C07", 0, alerts.Unacknowledged), alarm("b", "C08", time.Hour, alerts.Returned),
		alarm("c", "C07", 2*time.Hour, alerts.Shelved)}})
	commit(t, l, Decision{Alarms: []alerts.Alarm{alarm("a", "C07", 0, alerts.Normal)}})
	for _, c := range []struct {
		filter Filter
		want   string
	}{
		{Filter{}, "c b a"},
		{Filter{OpenOnly: true}, "c b"},
		{Filter{Vessel: "C07"}, "c a"},
		{Filter{Since: night.Add(time.Hour)}, "c b"},
		{Filter{Since: night.Add(time.Hour + 1e6)}, "c"},
		{Filter{Limit: 2}, "c b"},
		{Filter{Vessel: "C07", OpenOnly: true, Limit: 5}, "c"},
		{Filter{Vessel: "' or 1=1 --"}, ""},
	} {
		if got, err := l.Alarms(t.Context(), c.filter); err != nil || alarmIDs(got) != c.want {
			t.Errorf("%+v: got %q, %v, want %q", c.filter, alarmIDs(got), err, c.want)
		}
	}
	if _, err := l.Alarm(t.Context(), "z"); !errors.Is(err, ErrUnknown) {
		t.Errorf("unknown alarm: %v", err)
	}
	if _, err := l.Call(t.Context(), "z"); !errors.Is(err, ErrUnknown) {
		t.Errorf("unknown call: %v", err)
	}
}

func TestDue(t *testing.T) {
	l, _ := opened(t)
	if _, queued, err := l.NextDue(t.Context()); queued || err != nil {
		t.Errorf("an empty ledger has a call due, %v", err)
	}
	unsaid := call("unsaid", 5*time.Minute, "odd")
	unsaid.State, unsaid.Next = "", time.Time{} // due at once, after all others
	commit(t, l, Decision{Calls: []alerts.Call{call("low", 0, alerts.Low), call("new", 3*time.Minute, alerts.High), unsaid,
		call("old", time.Minute, alerts.High), call("medium", 0, alerts.Medium), call("later", time.Hour, alerts.High)}})
	for _, c := range []struct {
		at   time.Duration
		most int
		want string
	}{
		{3 * time.Minute, 0, "old new medium low unsaid"},
		{3*time.Minute - 1e6, 0, "old medium low unsaid"},
		{time.Hour, 2, "old new"},
		{-time.Minute, 0, "unsaid"},
	} {
		if got, err := l.Due(t.Context(), night.Add(c.at), c.most); err != nil || callIDs(got) != c.want {
			t.Errorf("at %s: got %q, %v, want %q", c.at, callIDs(got), err, c.want)
		}
	}
	if got, err := l.Calls(t.Context(), 3); err != nil || callIDs(got) != "later unsaid new" {
		t.Errorf("newest first: %q, %v", callIDs(got), err)
	}
	for _, id := range []string{"low", "new", "unsaid", "old", "medium"} {
		if err := l.Attempted(t.Context(), id, alerts.Attempt{At: night, Outcome: alerts.Expired}); err != nil {
			t.Fatal(err)
		}
	}
	if next, queued, err := l.NextDue(t.Context()); next != night.Add(time.Hour) || !queued || err != nil {
		t.Errorf("next due %v, %v, %v", next, queued, err)
	}
	if n, err := l.CallStates(t.Context()); err != nil || n[alerts.Expired] != 5 || n[alerts.Queued] != 1 || n[alerts.Failed] != 0 {
		t.Errorf("states %v, %v", n, err)
	}
}

func TestVersions(t *testing.T) {
	l, s := opened(t)
	commit(t, l, Decision{Alarms: []alerts.Alarm{alarm("a", "C07", 0, alerts.Unacknowledged)}})
	files := fstest.MapFS{
		"sql/migrations/0002.sql": {Data: []byte("alter table alarm add column shelf text; update alarm set shelf = 'top'")},
		"sql/migrations/0003.sql": {Data: []byte("no sql at all")},
	}
	upgrade := func(to int) error {
		return s.Update(t.Context(), func(tx *sql.Tx) error { return build(t.Context(), tx, files, to) })
	}
	if err := errors.Join(upgrade(2), upgrade(2)); err != nil {
		t.Fatal(err)
	}
	if err := upgrade(3); err == nil || !strings.Contains(err.Error(), "version 3") {
		t.Errorf("a step that fails gives %v", err)
	}
	var shelf string
	var has int
	if err := s.Reader().QueryRow("select shelf, version from alarm, ledger").Scan(&shelf, &has); err != nil || shelf != "top" || has != 2 {
		t.Errorf("shelf %q, version %d, %v", shelf, has, err)
	}
	if _, err := Open(t.Context(), s); !errors.Is(err, ErrNewer) || !errors.Is(err, ingest.ErrNewer) {
		t.Errorf("an older program gives %v", err)
	}
}

func TestClosedDatabase(t *testing.T) {
	l, s := opened(t)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := l.Commit(context.Background(), Decision{}); !errors.Is(err, ingest.ErrClosed) {
		t.Errorf("commit gives %v", err)
	}
	if _, err := l.Calls(context.Background(), 0); err == nil {
		t.Error("no error from a closed database")
	}
}
