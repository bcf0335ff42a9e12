package page

import "strings"

// hostileNames are names that somebody could give a vessel.
var hostileNames = []string{
	"<script>alert(1)</script>", "\" onload=\"alert(1)", "a/b/../c", "..", ".", "%2e%2e", "a%2Fb", "a?b#c", "a b+c", "\\",
	"مزرعة الطحالب", "\u202egnp.exe", "🦠🧫", "{{.}}", "javascript:alert(1)", "C07;drop", "//evil.invalid", "\u2069\u2066x",
	strings.Repeat("W", 200), strings.Repeat("é ", 100),
}
