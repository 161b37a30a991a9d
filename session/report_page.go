package session

import (
	_ "embed"
	"html/template"
	"strings"
	"time"
)

//go:embed report.html
var reportPage string

// reportTemplates are the pages "file" and "customer"; the template escapes all that was typed.
var reportTemplates = template.Must(template.New("report").Funcs(template.FuncMap{
	"minute": minute, "percent": percent, "sentence": sentence, "short": shortHash,
	"joined": func(list []string) string { return joined(list, "and") },
}).Parse(reportPage))

func minute(t time.Time) string { return t.Format("2006-01-02 15:04 MST") }

// html writes a report as a page of its own: no script, nothing fetched, ready to print.
func (j *job) html(whom string, record JobRecord, page CustomerPage) (string, error) {
	data := struct {
		Record  JobRecord
		Page    CustomerPage
		Picture template.HTML
	}{Record: record, Page: page}
	if whom == "file" && len(j.base.book.Circuits) > 0 {
		d, err := j.drawRecord(record)
		if err != nil {
			return "", err
		}
		data.Picture = template.HTML(d.SVG) // ours, and escaped by the picture
	}
	var b strings.Builder
	err := reportTemplates.ExecuteTemplate(&b, whom, data)
	return b.String(), err
}
