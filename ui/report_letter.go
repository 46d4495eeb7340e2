package ui

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"strings"

	"drumturn/coordinator/usage"
	"drumturn/push/words"
)

//go:embed report-file.css
var reportStyle string

// letterPage is the report as a file.
type letterPage struct {
	reportView
	Style template.CSS
}

// ReportLetter is a month's report as an e-mail: a short text, the page to print as
// a file that needs nothing else, and the tables for a spreadsheet by their names.
type ReportLetter struct {
	Subject, Text string
	Page          []byte
	Tables        map[string][]byte
}

// ReportLetter writes the letter in the language with the tag lang, or in English.
func (s *Server) ReportLetter(lang string, month usage.Month, r *usage.Report) (ReportLetter, error) {
	l := words.For(lang)
	v := s.reportOf(l, month, r)
	for i := range v.Sections {
		unlink(&v.Sections[i].Table)
	}
	var page bytes.Buffer
	if err := s.tongues[l].pages["report"]().ExecuteTemplate(&page, "report-file", letterPage{v, template.CSS(reportStyle)}); err != nil {
		return ReportLetter{}, fmt.Errorf("the report of %s as a file: %w", month, err)
	}
	var text strings.Builder
	fmt.Fprintf(&text, "%s\n\n", l.Say("reports.letter", "month", v.Month, "building", s.o.Building))
	for _, f := range v.Facts {
		fmt.Fprintf(&text, "%s: %s\n", f.Word, f.Text)
	}
	for _, n := range v.Notes {
		fmt.Fprintf(&text, "\n%s\n", n)
	}
	fmt.Fprintf(&text, "\n%s\n", l.Say("reports.page", "link", s.origin+s.base+"/manager/reports/"+month.String()))
	out := ReportLetter{Subject: l.Say("reports.subject", "month", v.Month, "building", s.o.Building), Text: text.String(), Page: page.Bytes(), Tables: map[string][]byte{}}
	for _, t := range r.Tables() {
		var file bytes.Buffer
		if err := t.WriteCSV(&file); err != nil {
			return out, err
		}
		out.Tables[t.Name] = file.Bytes()
	}
	return out, nil
}

// HouseRooms are the rooms and machines as they are called in the language with
// the tag lang.
func (s *Server) HouseRooms(lang string) []usage.HouseRoom { return s.houseRooms(words.For(lang)) }

// unlink takes the links out of a table: a file has no pages around it.
func unlink(t *figuresTable) {
	t.Files = nil
	for _, row := range append(t.Rows, t.Head) {
		for i := range row {
			row[i].Link = ""
		}
	}
}
