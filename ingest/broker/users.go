package broker

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"crypto/subtle"
	"errors"
	"fmt"
	"maps"
	"os"
	"strings"
)

// admit reports whether that name and password may connect. The error tells of
// a password file that cannot be used; then only Users count.
func (o Options) admit(name, password string) (bool, error) {
	if o.open() {
		return true, nil
	}
	users := o.Users
	var err error
	if o.PasswordFile != "" {
		var more map[string]string
		more, err = readUsers(o.PasswordFile)
		users = maps.Clone(more)
		if users == nil {
			users = map[string]string{}
		}
		maps.Copy(users, o.Users)
	}
	want, known := users[name]
	return sameText(want, password) && known, err
}

// sameText compares in a time that tells nothing about where a and b differ.
func sameText(a, b string) bool {
	x, y := sha256.Sum256([]byte(a)), sha256.Sum256([]byte(b))
	return subtle.ConstantTimeCompare(x[:], y[:]) == 1
}

// readUsers reads a password file. Errors name file and line and never quote a
// password. What can be read is returned together with the error.
func readUsers(path string) (map[string]string, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read password file: %w", err)
	}
	users := map[string]string{}
	var faults []error
	lines := bufio.NewScanner(bytes.NewReader(b))
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		name, password, ok := strings.Cut(line, ":")
		if !ok || name == "" || password == "" {
			faults = append(faults, fmt.Errorf("%s:%d: want name:password", path, n))
			continue
		}
		users[name] = password
	}
	if err := lines.Err(); err != nil {
		faults = append(faults, fmt.Errorf("%s: %w", path, err))
	}
	return users, errors.Join(faults...)
}
