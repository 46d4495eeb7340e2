package usage

import (
	"encoding/csv"
	"encoding/json"
	"io"
	"strings"
	"unicode/utf8"
)

// WriteCSV writes a table as RFC 4180 has it: a line of column keys, lines end
// with CR LF, and what holds commas, quotes or line ends stands in quotes. Units
// are part of the keys: "running_h". A name that a spreadsheet would take for a
// formula gets an apostrophe before it.
func (t *Table) WriteCSV(w io.Writer) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	line := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		line[i] = c.head()
	}
	if err := out.Write(line); err != nil {
		return err
	}
	for _, row := range t.Rows {
		for i, cell := range row {
			line[i] = cell.Text
			if t.Columns[i].Kind == KindText || t.Columns[i].Kind == KindWord {
				line[i] = harmless(cell.Text)
			}
		}
		if err := out.Write(line); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// head is the column's key with its unit.
func (c *Column) head() string {
	switch c.Unit {
	case "":
		return c.Key
	case "%":
		return c.Key + "_percent"
	}
	return c.Key + "_" + c.Unit
}

// harmless keeps a spreadsheet from taking a text for a formula. The characters
// are those of OWASP's page "CSV Injection", with their full-width forms.
func harmless(text string) string {
	if r, _ := utf8.DecodeRuneInString(text); strings.ContainsRune("=+-@\t\r\n＝＋－＠", r) && text != "" {
		return "'" + text
	}
	return text
}

// jsonColumn and jsonTable are how tables stand in files of JSON.
type jsonColumn struct {
	Key  string `json:"key"`
	Kind Kind   `json:"kind"`
	Unit string `json:"unit,omitempty"`
}

type jsonTable struct {
	Name    string           `json:"name"`
	Columns []jsonColumn     `json:"columns"`
	Rows    []map[string]any `json:"rows"`
}

type jsonReport struct {
	From     Date        `json:"from"`
	To       Date        `json:"to"`
	By       Period      `json:"by"`
	Room     string      `json:"room,omitempty"`
	Machine  string      `json:"machine,omitempty"`
	Currency string      `json:"currency,omitempty"`
	Tables   []jsonTable `json:"tables"`
}

// WriteJSON writes the report's tables: each row an object by column key; numbers
// as numbers, money as a text with the exact decimals, what is unknown as null.
func (r *Report) WriteJSON(w io.Writer) error {
	out := jsonReport{
		From: r.Query.From, To: r.Query.To, By: r.Query.By, Room: string(r.Query.Scope.Room), Machine: string(r.Query.Scope.Machine),
		Currency: r.Currency.Code, Tables: []jsonTable{},
	}
	for _, t := range r.Tables() {
		out.Tables = append(out.Tables, t.forJSON())
	}
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	return e.Encode(out)
}

// WriteJSON writes one table; see that of Report.
func (t *Table) WriteJSON(w io.Writer) error {
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	return e.Encode(t.forJSON())
}

func (t *Table) forJSON() jsonTable {
	out := jsonTable{Name: t.Name, Rows: make([]map[string]any, 0, len(t.Rows))}
	for _, c := range t.Columns {
		out.Columns = append(out.Columns, jsonColumn{c.Key, c.Kind, c.Unit})
	}
	for _, row := range t.Rows {
		object := make(map[string]any, len(row))
		for i, cell := range row {
			object[t.Columns[i].Key] = cell.forJSON(t.Columns[i].Kind)
		}
		out.Rows = append(out.Rows, object)
	}
	return out
}

func (c *Cell) forJSON(k Kind) any {
	switch {
	case k == KindNumber && c.Text != "":
		return json.Number(c.Text)
	case c.Text == "" && k != KindText:
		return nil
	}
	return c.Text
}
