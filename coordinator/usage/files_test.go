package usage

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"drumturn/coordinator"
)

func csvOf(t interface {
	Helper()
	Fatal(...any)
}, table *Table) string {
	t.Helper()
	var b bytes.Buffer
	must(t, table.WriteCSV(&b))
	return b.String()
}

// TestCSV: RFC 4180, section 2: lines end with CR LF (1), a header line (3),
// fields with commas, quotes or line breaks in quotes (6), quotes doubled (7).
// What a spreadsheet takes for a formula: OWASP, "CSV Injection".
func TestCSV(t *testing.T) {
	table := Table{
		Columns: []Column{{Key: "name", Kind: KindText}, {Key: "running", Kind: KindNumber, Unit: "h"}, {Key: "share", Kind: KindNumber, Unit: "%"}, {Key: "cost", Kind: KindMoney, Unit: "EUR"}},
		Rows: [][]Cell{
			{Word(`Washer "big", left`), Fixed(1.5, 2), none, {"-0.10", -0.1}},
			{Word("=1+1"), Count(0), Fixed(12.345, 1), none},
			{Word("@SUM(A1)"), none, none, none}, {Word("+49"), none, none, none}, {Word("-1"), none, none, none},
			{Word("\tx"), none, none, none}, {Word("＝1"), none, none, none}, {Word("Ünder=1"), none, none, none},
		},
	}
	want := "name,running_h,share_percent,cost_EUR\r\n" +
		"\"Washer \"\"big\"\", left\",1.50,,-0.10\r\n" +
		"'=1+1,0,12.3,\r\n" +
		"'@SUM(A1),,,\r\n'+49,,,\r\n'-1,,,\r\n" +
		"'\tx,,,\r\n'＝1,,,\r\nÜnder=1,,,\r\n"
	if got := csvOf(t, &table); got != want {
		t.Errorf("\n got %q\nwant %q", got, want)
	}
}

// TestCSVAnyNames: whatever people call their machines, each row comes back, and
// no cell of theirs begins with what would be a formula.
func TestCSVAnyNames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		table := Table{Columns: []Column{{Key: "name", Kind: KindText}, {Key: "n", Kind: KindNumber}}}
		for range rapid.IntRange(0, 5).Draw(t, "rows") {
			name := rapid.StringOf(rapid.RuneFrom([]rune("=+-@\t\r\n\",;'ab ＝é"))).Draw(t, "name")
			table.Rows = append(table.Rows, []Cell{Word(name), Count(7)})
		}
		rows, err := csv.NewReader(strings.NewReader(csvOf(t, &table))).ReadAll()
		must(t, err)
		if len(rows) != len(table.Rows)+1 {
			t.Fatalf("%d lines for %d rows", len(rows), len(table.Rows))
		}
		for i, row := range rows[1:] {
			if row[0] != "" && strings.ContainsAny(row[0][:1], "=+-@\t\r\n") || row[1] != "7" {
				t.Fatalf("row %d reads %q", i, row)
			}
		}
	})
}

// TestTables: every table has a cell for each column, in CSV and in JSON.
func TestTables(t *testing.T) {
	s := newFake()
	h, rooms := twoRooms()
	h.Rooms[0].Name = "=HYPERLINK(1)"
	h.Tariffs = tariffOf(window("=1", 0, 60, 100_000))
	for i := range rooms {
		rooms[i].Tariffs, rooms[i].PerHome, h.Rooms[i].PerHome = h.Tariffs, true, true
	}
	history(t, s, rooms, "2026-11-01", "2026-11-03")
	r := report(t, s, h, Scope{}, "2026-11-01", "2026-11-04", ByDay)
	names := ""
	for _, table := range r.Tables() {
		names += table.Name + " "
		for _, row := range table.Rows {
			if len(row) != len(table.Columns) {
				t.Fatalf("%s: %d cells for %d columns", table.Name, len(row), len(table.Columns))
			}
		}
		if lines := strings.Count(csvOf(t, &table), "\r\n"); lines != len(table.Rows)+1 {
			t.Errorf("%s: %d lines", table.Name, lines)
		}
	}
	if names != "periods rooms machines windows homes costs week " {
		t.Errorf("tables %s", names)
	}
	var b bytes.Buffer
	must(t, r.WriteJSON(&b))
	var back struct {
		From   string
		Tables []struct {
			Name    string
			Columns []struct{ Key, Unit string }
			Rows    []map[string]any
		}
	}
	must(t, json.Unmarshal(b.Bytes(), &back))
	if back.From != "2026-11-01" || len(back.Tables) != 7 || len(back.Tables[6].Rows) != 168 {
		t.Fatalf("%+v", back)
	}
	first, last, attic := back.Tables[0].Rows[0], back.Tables[0].Rows[3], back.Tables[1].Rows[0]
	if first["cycles"] != 3.0 || first["running"] != 1.0 || first["utilisation"] == nil || first["wait_median"] != nil {
		t.Errorf("the first day %v", first)
	}
	if last["cycles"] != 0.0 || last["utilisation"] != nil {
		t.Errorf("a day without sums %v", last)
	}
	if total := back.Tables[5].Rows[3]; total["part"] != "total" || total["cost"] != "1.35" || first["cost"] != "0.45" { // 9 cycles of 0.5 kWh at 0.30
		t.Errorf("costs %v, the first day's %v", total, first["cost"])
	}
	if attic["name"] != "=HYPERLINK(1)" { // JSON is no spreadsheet: the name is as it is
		t.Errorf("the attic %v", attic)
	}
	if !strings.Contains(csvOf(t, &r.Tables()[1]), "attic,'=HYPERLINK(1),") {
		t.Error("the name went into CSV as a formula")
	}
}

func TestAmounts(t *testing.T) {
	for _, c := range []struct {
		digits int
		minor  int64
		want   string
	}{{2, 1230, "12.30"}, {2, 5, "0.05"}, {2, -5, "-0.05"}, {0, 120, "120"}, {3, 1, "0.001"}, {2, 0, "0.00"}} {
		if got := (Currency{"XXX", c.digits}).Text(Amount{c.minor, true}); got != c.want {
			t.Errorf("%d with %d digits is %q, want %q", c.minor, c.digits, got, c.want)
		}
	}
	if got := (Currency{"EUR", 2}).Text(Amount{}); got != "" {
		t.Errorf("an unknown amount is %q", got)
	}
}

// TestFirstEdition: sums stored by an older program are read.
func TestFirstEdition(t *testing.T) {
	s := newFake()
	s.sums["cellar/w1/2026-11-01"] = []byte(`{"Room":"cellar","Machine":"w1","Date":"2026-11-01","Cycles":2,"Running":7200000000000,"EnergyWh":1500,"Waits":[60000000000,120000000000]}`)
	all := between(t, s, "cellar", "2026-11-01", "2026-11-01")
	if len(all) != 1 || all[0].V != 1 || all[0].Cycles != 2 || all[0].CycleWh != 1500 || all[0].Waits.Count() != 2 || all[0].Machine != coordinator.MachineID("w1") {
		t.Errorf("%+v", all)
	}
	s.sums["cellar/w1/2026-11-01"] = []byte(`{"V":99}`)
	if _, err := Between(ctx, s, "cellar", date("2026-11-01"), date("2026-11-01")); err == nil || !strings.Contains(err.Error(), "newer program") {
		t.Errorf("sums of the future: %v", err)
	}
}
