package page

import (
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"
)

// find returns the nodes under n that a selector names: a tag, #id, .class or
// [attribute] or [attribute=value], of which several may follow one another
// without a space; spaces go down the tree.
func find(n *html.Node, selector string) []*html.Node {
	found := []*html.Node{n}
	for _, step := range strings.Fields(selector) {
		var next []*html.Node
		for _, f := range found {
			for d := range f.Descendants() {
				if matches(d, step) && !slices.Contains(next, d) {
					next = append(next, d)
				}
			}
		}
		found = next
	}
	return found
}

func matches(n *html.Node, step string) bool {
	if n.Type != html.ElementNode {
		return false
	}
	for step != "" {
		end := 1 + strings.IndexAny(step[1:], "#.[")
		if end == 0 {
			end = len(step)
		}
		part := step[:end]
		step = step[end:]
		switch part[0] {
		case '#':
			if attr(n, "id") != part[1:] {
				return false
			}
		case '.':
			if !slices.Contains(strings.Fields(attr(n, "class")), part[1:]) {
				return false
			}
		case '[':
			name, value, valued := strings.Cut(strings.Trim(part, "[]"), "=")
			if !has(n, name) || valued && attr(n, name) != value {
				return false
			}
		default:
			if n.Data != part {
				return false
			}
		}
	}
	return true
}

func has(n *html.Node, name string) bool {
	return slices.ContainsFunc(n.Attr, func(a html.Attribute) bool { return a.Key == name })
}

func attr(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

// text is what stands in a node, with single spaces.
func text(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data)
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// one returns the text of the only node that a selector names.
func one(t *testing.T, n *html.Node, selector string) string {
	t.Helper()
	found := find(n, selector)
	if len(found) != 1 {
		t.Fatalf("%q names %d nodes, want 1", selector, len(found))
	}
	return text(found[0])
}

// get asks for a page and takes it apart.
func get(t *testing.T, h http.Handler, target string, status int) *html.Node {
	t.Helper()
	w := ask(h, httptest.NewRequest(http.MethodGet, target, nil))
	if w.Code != status {
		t.Fatalf("GET %s: status %d, want %d: %.200s", target, w.Code, status, w.Body)
	}
	n, err := html.Parse(w.Body)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func ask(h http.Handler, r *http.Request) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}
