package ui

import (
	"bytes"
	"net/http"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator/usage"
)

// fileLink is the table as a file.
type fileLink struct{ Text, Link string }

// tableFiles are links to a table as files, below a page; query is what the table
// is of, as the page's address has it.
func tableFiles(page, name, query string) []fileLink {
	if query != "" {
		query = "?" + query
	}
	file := func(kind string) string { return page + "/" + pathEscape(name+"."+kind) + query }
	return []fileLink{{"CSV", file("csv")}, {"JSON", file("json")}}
}

// sendTable sends one of the tables as the file that the address names: as CSV
// (RFC 4180) or as JSON. about becomes a part of the name under which it is kept.
func (s *Server) sendTable(c echo.Context, tables []usage.Table, about string) error {
	name, kind, _ := strings.Cut(param(c, "file"), ".")
	i := slices.IndexFunc(tables, func(t usage.Table) bool { return t.Name == name })
	if i < 0 {
		return noTable
	}
	var b bytes.Buffer
	file := name + "-" + plainName(about) + "." + kind
	switch kind {
	case "csv":
		if err := tables[i].WriteCSV(&b); err != nil {
			return err
		}
		return s.download(c, file, "text/csv; charset=utf-8; header=present", b.Bytes())
	case "json":
		if err := tables[i].WriteJSON(&b); err != nil {
			return err
		}
		return s.download(c, file, echo.MIMEApplicationJSON, b.Bytes())
	}
	return noTable
}

// plainName leaves of a text what every system takes in the name of a file.
func plainName(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '-':
			return r
		}
		return '_'
	}, text)
}

// download sends a file to be kept. Its name is made of plain letters and digits.
func (s *Server) download(c echo.Context, name, kind string, data []byte) error {
	s.pageHeaders(c)
	c.Response().Header().Set("Content-Disposition", `attachment; filename="`+name+`"`)
	return c.Blob(http.StatusOK, kind, data)
}
