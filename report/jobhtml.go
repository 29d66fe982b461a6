package report

import (
	_ "embed" // the page's template
	"encoding/base64"
	"html/template"
	"io"
	"strconv"
)

//go:embed job.html
var jobPage string

// HTML writes a report as one page that needs nothing else: no network, no script.
func (p *JobPaper) HTML(w io.Writer) error {
	t, err := template.New("job").Funcs(template.FuncMap{
		"say": func(key string) string { return p.Language.say(key) },
		// Places in a chart, in mm.
		"mm": func(v float64) string { return strconv.FormatFloat(v, 'f', 2, 64) },
		// A figure as it stands in the JSON.
		"exact": func(v *float64) string { return strconv.FormatFloat(*v, 'g', -1, 64) },
		"jpeg": func(content []byte) template.URL {
			return template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(content))
		},
	}).Parse(jobPage)
	if err != nil {
		return err
	}
	return t.Execute(w, p)
}
