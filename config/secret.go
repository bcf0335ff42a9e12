package config

import (
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"

	"gopkg.in/yaml.v3"
)

// cut stands wherever a secret is shown.
const cut = "(secret)"

// Secret is a text that must not be shown: every way of printing it gives
// only that there is one.
type Secret struct {
	file  string
	value string
}

// Reveal returns the secret itself, without line breaks at its end.
func (s Secret) Reveal() string { return s.value }

// File returns the path it was read from, empty if it stood in the configuration.
func (s Secret) File() string { return s.file }

// String never returns the secret.
func (s Secret) String() string {
	if s.value == "" {
		return ""
	}
	return cut
}

// Format never writes the secret, whatever the verb: %d of a text would show it.
func (s Secret) Format(f fmt.State, _ rune) { _, _ = io.WriteString(f, s.String()) }

// MarshalText never returns the secret; JSON and logs use it too.
func (s Secret) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// maxSecret is the size of the longest secret file, in bytes.
const maxSecret = 64 << 10

// secretFile reads the file that key names. It reports false, after a fault,
// where there is none to be read.
func (b *block) secretFile(key string) (Secret, bool) {
	var name string
	n := b.text(key, &name)
	if n == nil {
		return Secret{}, false
	}
	if name == "" {
		b.fault(n, "%s is empty; name the file that holds it", key)
		return Secret{}, false
	}
	if strings.HasPrefix(name, "whsec_") || strings.HasPrefix(name, "Bearer ") {
		// It is not repeated: what is printed ends up in logs.
		b.fault(n, "%s holds the secret itself; put it into a file of its own and name that file here", key)
		return Secret{}, false
	}
	path := b.path(name)
	info, err := os.Stat(path)
	if err != nil {
		b.unreadable(n, key, name, err)
		return Secret{}, false
	}
	// Only plain files: reading a pipe or a device could wait for ever.
	if !info.Mode().IsRegular() {
		b.fault(n, "%s %s is not a plain file", key, quoted(name))
		return Secret{}, false
	}
	if info.Size() > maxSecret {
		b.fault(n, "%s %s is %d bytes long; a secret is at most %d", key, quoted(name), info.Size(), maxSecret)
		return Secret{}, false
	}
	data, err := os.ReadFile(path)
	if err != nil {
		b.unreadable(n, key, name, err)
		return Secret{}, false
	}
	s := Secret{file: path, value: strings.TrimRight(string(data), "\r\n")}
	if s.value == "" {
		b.fault(n, "%s %s is an empty file", key, quoted(name))
		return Secret{}, false
	}
	if info.Mode().Perm()&0o004 != 0 {
		b.warn(n, "%s %s can be read by every user of this machine; chmod 600 would hide it", key, quoted(name))
	}
	return s, true
}

func (b *block) unreadable(n *yaml.Node, key, name string, err error) {
	if perr := (*fs.PathError)(nil); errors.As(err, &perr) {
		err = perr.Err
	}
	b.fault(n, "%s %s cannot be read: %s", key, quoted(name), err)
}

// signing checks the form of a signing secret: whsec_ and the base64 of 24 to
// 64 bytes (Standard Webhooks 1.0.0, "Symmetric").
func signing(s string) error {
	text, ok := strings.CutPrefix(s, "whsec_")
	if !ok {
		return errors.New("does not begin with whsec_")
	}
	key, err := base64.StdEncoding.DecodeString(text)
	if err != nil {
		return errors.New("is not base64 after whsec_")
	}
	if len(key) < 24 || len(key) > 64 {
		return sentence("holds %d bytes after whsec_; it must be 24 to 64", len(key))
	}
	return nil
}
