package config

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// MaxFile is the size of the longest configuration file that is read, in bytes.
const MaxFile = 1 << 20

// Load reads the configuration in the file at path. What is wrong in it comes
// back as [Faults]; any other error says why the file could not be read.
func Load(path string) (*Config, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("read configuration: %w", err)
	}
	defer f.Close()
	// One byte more than is allowed, so that Parse sees that it is too long
	// without a file of any size being held in memory.
	data, err := io.ReadAll(io.LimitReader(f, MaxFile+1))
	if err != nil {
		return nil, fmt.Errorf("read configuration: %w", err)
	}
	return Parse(path, data)
}

// Parse reads a configuration from data. Name is the path the file has or
// would have: it stands in the faults, and paths in the file are relative to
// its folder. The files it names (secrets) are read. The error is [Faults].
func Parse(name string, data []byte) (*Config, error) {
	d := &decoder{file: name, dir: filepath.Dir(name)}
	var c *Config
	if root := d.syntax(data); root != nil {
		c = d.room(root)
	}
	if len(d.faults) > 0 {
		return nil, Faults(inOrder(d.faults))
	}
	c.Warnings = inOrder(d.warnings)
	return c, nil
}

// Broken returns the faults in err, if it says what is wrong in a file.
func Broken(err error) (Faults, bool) {
	var f Faults
	ok := errors.As(err, &f)
	return f, ok
}
