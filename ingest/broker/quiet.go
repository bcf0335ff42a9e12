package broker

import (
	"context"
	"log/slog"
	"slices"
)

// quiet takes the library's log one or two steps down, because to it every
// client that leaves is a warning, and leaves out whole packets, because they
// hold payloads and passwords.
type quiet struct{ to slog.Handler }

var _ slog.Handler = quiet{}

func lowered(level slog.Level) slog.Level {
	if level >= slog.LevelError {
		return slog.LevelWarn
	}
	return slog.LevelDebug
}

// Enabled asks for the level it will have.
func (q quiet) Enabled(ctx context.Context, level slog.Level) bool {
	return q.to.Enabled(ctx, lowered(level))
}

// Handle passes the record on, lowered.
func (q quiet) Handle(ctx context.Context, r slog.Record) error {
	out := slog.NewRecord(r.Time, lowered(r.Level), "broker library: "+r.Message, r.PC)
	r.Attrs(func(a slog.Attr) bool {
		if !secret(a) {
			out.AddAttrs(a)
		}
		return true
	})
	return q.to.Handle(ctx, out)
}

// WithAttrs adds attributes but no packets.
func (q quiet) WithAttrs(attrs []slog.Attr) slog.Handler {
	return quiet{to: q.to.WithAttrs(slices.DeleteFunc(slices.Clone(attrs), secret))}
}

// WithGroup opens a group.
func (q quiet) WithGroup(name string) slog.Handler { return quiet{to: q.to.WithGroup(name)} }

func secret(a slog.Attr) bool { return a.Key == "pk" || a.Key == "packet" || a.Key == "will" }
