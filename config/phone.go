package config

import (
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"text/template"
	"time"

	"gopkg.in/yaml.v3"
)

// phones reads who is called.
func (d *decoder) phones(room *block, c *Config) {
	lines := map[string]int{}
	for _, n := range room.items("phones", 100) {
		b := d.block(n, "a phone")
		p := b.phone()
		b.name(p.Name, "phone", 64, lines)
		b.close()
		c.Phones = append(c.Phones, p)
	}
}

// phone reads one phone.
func (b *block) phone() Phone {
	p := Phone{Timeout: 15 * time.Second}
	b.text("name", &p.Name)
	b.yes("allow_private", &p.AllowPrivate)
	b.phoneURL(&p)
	b.phoneSecret(&p)
	b.duration("timeout", &p.Timeout, time.Second, time.Minute)
	if n := b.value("headers"); n != nil {
		p.Headers = b.headers(n)
	}
	b.body(&p)
	return p
}

// phoneURL reads where calls go.
func (b *block) phoneURL(p *Phone) {
	var u *url.URL
	n := read(b, "url", &u, webURL)
	if n == nil {
		if !b.has("url") {
			b.missing("url", "write where its calls are sent, such as url: https://push.example/duty")
		}
		return
	}
	p.URL = n.Value
	if !p.AllowPrivate && private(u.Hostname()) {
		b.fault(n, "url leads to %s, inside the house or this machine; set allow_private: true if that is meant", quoted(u.Hostname()))
	}
	if u.Scheme == "http" && !private(u.Hostname()) {
		b.warn(n, "calls to %s can be read by everyone on their way; use https://", quoted(ShownURL(p.URL)))
	}
}

// phoneSecret reads what calls are signed with. What is wrong with it is told
// without showing any of it.
func (b *block) phoneSecret(p *Phone) {
	secret, ok := b.secretFile("secret_file")
	if !ok {
		if !b.has("secret_file") {
			b.missing("secret_file", "name a file that holds whsec_ and the base64 of 24 to 64 bytes")
		}
		return
	}
	if err := signing(secret.value); err != nil {
		b.fault(b.place("secret_file"), "the secret in %s %s", quoted(b.place("secret_file").Value), err)
	}
	p.Secret = secret
}

// ownHeaders are set by the call itself.
var ownHeaders = []string{"webhook-id", "webhook-timestamp", "webhook-signature", "host", "content-length", "transfer-encoding", "connection",
	"upgrade", "trailer", "te"}

// headerName is a token, RFC 9110 section 5.6.2.
var headerName = regexp.MustCompile("^[-!#$%&'*+.^_`|~0-9A-Za-z]+$")

// headers reads further headers of a call.
func (b *block) headers(n *yaml.Node) []Header {
	var out []Header
	seen := map[string]string{}
	for _, p := range b.pairs(n, "headers") {
		name := p.key.Value
		lower := strings.ToLower(name)
		switch before := seen[lower]; {
		case !headerName.MatchString(name):
			b.fault(p.key, "%s cannot name a header; use letters, digits and -", quoted(name))
			continue
		case slices.Contains(ownHeaders, lower):
			b.fault(p.key, "the header %s is set by every call itself; leave it out", quoted(name))
			continue
		case before != "":
			b.fault(p.key, "the headers %s and %s are the same; keep one", quoted(before), quoted(name))
			continue
		}
		seen[lower] = name
		if value, ok := b.headerValue(p); ok {
			out = append(out, Header{Name: name, Value: value})
		}
	}
	return out
}

// headerValue reads {file: PATH} or {value: TEXT}.
func (b *block) headerValue(p pair) (Secret, bool) {
	name := p.key.Value
	if p.value.Kind != yaml.MappingNode {
		// What stands here may be a secret: it is not repeated.
		b.fault(p.value, "the header %s must be {file: PATH} for a secret or {value: TEXT} for what everyone may see", quoted(name))
		return Secret{}, false
	}
	h := b.block(p.value, "the header "+quoted(name))
	defer h.close()
	var s Secret
	file, plain := h.has("file"), h.has("value")
	if file == plain {
		h.find("file")
		h.find("value")
		b.fault(p.key, "the header %s needs one of file and value", quoted(name))
		return s, false
	}
	place := h.place("value")
	if file {
		var ok bool
		if s, ok = h.secretFile("file"); !ok {
			return s, false
		}
		place = h.place("file")
	} else if h.text("value", &s.value) == nil {
		return s, false
	}
	if strings.ContainsFunc(s.value, func(r rune) bool { return r < ' ' && r != '\t' || r == 0x7f }) {
		b.fault(place, "the header %s must be one line of text", quoted(name))
		return s, false
	}
	if plain && (strings.EqualFold(name, "authorization") || strings.EqualFold(name, "cookie")) {
		b.warn(place, "the header %s stands open in this file; put it into a file of its own and write {file: PATH}", quoted(name))
	}
	return s, true
}

// bodyFunctions are the functions that a body may use beside those of
// text/template. Here only their names count: whoever fills it in has them.
var bodyFunctions = template.FuncMap{"json": func(any) string { return "" }}

// templateError takes the words of text/template apart: line and reason.
var templateError = regexp.MustCompile(`^template: body:(\d+)(?::\d+)?: (.*)$`)

// body reads the template of the request.
func (b *block) body(p *Phone) {
	n := b.value("body")
	if n == nil {
		return
	}
	text, ok := b.scalar(n, "body")
	if !ok {
		return
	}
	p.Body = text
	t := template.New("body").Funcs(bodyFunctions)
	if _, err := t.Parse(text); err != nil {
		line, reason := 1, err.Error()
		if m := templateError.FindStringSubmatch(reason); m != nil {
			line, _ = strconv.Atoi(m[1])
			reason = m[2]
		}
		wrong := strings.Split(text, "\n")
		at, column := n.Line, n.Column
		if n.Style&(yaml.LiteralStyle|yaml.FoldedStyle) != 0 {
			at, column = n.Line+line, 1
		}
		b.faultAt(at, column, "body is no template at %s: %s", quoted(strings.TrimSpace(wrong[min(line, len(wrong))-1])), reason)
	}
}
