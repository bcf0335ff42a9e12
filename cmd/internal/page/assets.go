package page

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"html/template"
	"net/http"
	"time"
)

//go:embed templates/*.html
var templateFiles embed.FS

//go:embed static
var staticFiles embed.FS

var pages = template.Must(template.New("").Funcs(template.FuncMap{
	"with_who":  func(a alarmView, who string) alarmAndWho { return alarmAndWho{Alarm: a, Who: who} },
	"in_full":   func(a alarmView, who string) alarmAndWho { return alarmAndWho{Alarm: a, Who: who, Full: true} },
	"call_mark": callMark,
}).ParseFS(templateFiles, "templates/*.html"))

// alarmAndWho is what the form under an alarm needs.
type alarmAndWho struct {
	Alarm alarmView
	Who   string
	Full  bool // with its evidence
}

// assets are the files of static, with a version taken from their content.
var assets = func() map[string]assetFile {
	files, err := staticFiles.ReadDir("static")
	if err != nil {
		panic(err) // the files are part of the program
	}
	all := map[string]assetFile{}
	for _, f := range files {
		content, err := staticFiles.ReadFile("static/" + f.Name())
		if err != nil {
			panic(err)
		}
		sum := sha256.Sum256(content)
		all[f.Name()] = assetFile{content: content, version: hex.EncodeToString(sum[:6])}
	}
	return all
}()

type assetFile struct {
	content []byte
	version string
}

// asset is the address of a file of static. It changes with the content, so
// that a phone that keeps the file never keeps an old one.
func asset(name string) string { return "/static/" + name + "?v=" + assets[name].version }

func (s *site) static(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("file")
	f, ok := assets[name]
	if !ok {
		s.fail(w, r, http.StatusNotFound, "There is no such file here.")
		return
	}
	w.Header().Set("ETag", `"`+f.version+`"`)
	w.Header().Set("Cache-Control", "no-cache")
	if r.URL.Query().Get("v") == f.version {
		w.Header().Set("Cache-Control", "max-age=31536000, immutable")
	}
	http.ServeContent(w, r, name, time.Time{}, bytes.NewReader(f.content))
}
