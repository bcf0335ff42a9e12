// Package browsertest starts a real browser for tests, and keeps what they
// leave for people to look at.
package browsertest

import (
	"context"
	"os"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// Missing skips a test for want of a real part, or fails it where
// NIGHTSHELF_REQUIRE_ALL is 1 and nothing may be skipped.
func Missing(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("NIGHTSHELF_REQUIRE_ALL") == "1" {
		t.Fatal("no " + what)
	}
	t.Skip("no " + what)
}

// Start starts a fresh headless Chromium for 90 s at most, with options beside
// the usual ones, and ends it with the test. Where there is none the test is
// Missing it.
func Start(t *testing.T, more ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	const chromium = "/usr/bin/chromium"
	if _, err := os.Stat(chromium); err != nil {
		Missing(t, "Chromium")
	}
	opts := append([]chromedp.ExecAllocatorOption{chromedp.ExecPath(chromium), chromedp.UserDataDir(t.TempDir())}, more...)
	for _, f := range []string{"headless", "no-sandbox", "disable-gpu", "disable-quic", "no-first-run", "disable-background-networking",
		"disable-component-update", "disable-sync", "hide-scrollbars"} {
		opts = append(opts, chromedp.Flag(f, true))
	}
	ctx, cancel := chromedp.NewExecAllocator(t.Context(), opts...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	ctx, cancel = context.WithTimeout(ctx, 90*time.Second)
	t.Cleanup(cancel)
	return ctx
}

// Artefacts returns the folder for what people should look at: the one that
// NIGHTSHELF_ARTEFACTS names, else one that goes with the test.
func Artefacts(t *testing.T) string {
	t.Helper()
	dir := os.Getenv("NIGHTSHELF_ARTEFACTS")
	if dir == "" {
		return t.TempDir()
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	return dir
}
