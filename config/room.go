package config

import (
	"net/netip"
	"os"
	"path/filepath"
	"strings"
	"time"

	"gopkg.in/yaml.v3"
)

// room reads the whole file: defaults first, then what it says.
func (d *decoder) room(root *yaml.Node) *Config {
	c := fresh(d.file)
	b := d.block(root, "this file")
	b.text("room", &c.Room)
	if c.Room == "" && b.blank("room") {
		b.missing("room", "give it the name that calls should say")
	} else if len([]rune(c.Room)) > 64 {
		b.fault(b.place("room"), "room must be at most 64 characters, not %s", quoted(c.Room))
	}
	read(b, "zone", &c.Zone, zone)
	b.database(c)
	b.listen(c)
	b.publicURL(c)
	clock := string(c.Clock)
	b.choice("clock", &clock, string(Wall), string(Readings))
	c.Clock = Clock(clock)
	b.duration("lateness", &c.Lateness, 0, 24*time.Hour)
	b.number("false_calls_a_month", &c.FalseCallsAMonth, 0.1, 30, " a month")
	b.references(c)
	b.number("lamp_lux_per_umol", &c.LampLuxPerUmol, 10, 200, " lux per umol m-2 s-1")
	for _, n := range b.items("staffed", 100) {
		c.Staffed = append(c.Staffed, d.shift(n))
	}
	d.vessels(b, c)
	d.broker(b, c)
	d.devices(b, c)
	d.phones(b, c)
	d.recipes(b, c)
	d.bleach(b, c)
	b.close()
	return c
}

// path resolves p against the folder of the file.
func (d *decoder) path(p string) string {
	if filepath.IsAbs(p) {
		return p
	}
	return filepath.Join(d.dir, p)
}

func zone(s string) (*time.Location, error) {
	// Local is whatever the machine is set to: the same file would mean
	// another night on another machine.
	if loc, err := time.LoadLocation(s); err == nil && s != "" && s != "Local" {
		return loc, nil
	}
	return nil, sentence("%s is not in the IANA list of time zones; write one such as Atlantic/Azores or UTC", quoted(s))
}

// database reads where readings and logbook are kept. The folder must be
// there: a database that a typing error put elsewhere would be found empty.
func (b *block) database(c *Config) {
	n := b.text("data", &c.Data)
	if n != nil && c.Data == "" {
		b.fault(n, "data is empty; name the file of the database, or leave the key out for nightshelf.db beside this file")
		return
	}
	name := c.Data
	c.Data = b.path(name)
	if info, err := os.Stat(c.Data); n != nil && err == nil && info.IsDir() {
		b.fault(n, "data %s is a folder; name a file in it", quoted(name))
	}
	if info, err := os.Stat(filepath.Dir(c.Data)); n != nil && (err != nil || !info.IsDir()) {
		b.fault(n, "data %s cannot be written: its folder does not exist", quoted(name))
	}
}

// listen reads where the page is served.
func (b *block) listen(c *Config) {
	b.yes("behind_proxy", &c.BehindProxy)
	n := read(b, "listen", &c.Listen, address("127.0.0.1:8470"))
	if n != nil && !c.BehindProxy && !loopback(c.Listen) {
		b.fault(n, "listen %s can be reached from other machines, and the page asks nobody for a password; "+
			"keep it on 127.0.0.1, or set behind_proxy: true if a proxy that asks for one stands before it", quoted(c.Listen))
	}
}

// publicURL reads the address of the page as a phone sees it.
func (b *block) publicURL(c *Config) {
	read(b, "public_url", &c.PublicURL, func(s string) (string, error) {
		if s == "" {
			return "", nil
		}
		u, err := webURL(s)
		if err != nil {
			return "", err
		}
		if u.Scheme != "https" && !isLoopback(u.Hostname()) {
			return "", sentence("must begin with https://, because acknowledgements travel over it, not %s", quoted(u.Scheme+"://"))
		}
		if u.RawQuery != "" || u.Fragment != "" {
			return "", sentence("must end with the path, without ? or #, not %s", quoted(s))
		}
		return strings.TrimRight(s, "/"), nil
	})
}

// isLoopback reports whether host is this machine and nothing else.
func isLoopback(host string) bool {
	if strings.EqualFold(host, "localhost") {
		return true
	}
	a, err := netip.ParseAddr(host)
	return err == nil && a.Unmap().IsLoopback()
}
