package main

import (
	"errors"
	"io/fs"
	"slices"
	"strings"
	"testing"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
	"drumturn/push/mail/mailtest"
)

// february is a report of a room's two machines.
func february() *usage.Report {
	m := usage.Month{Year: 2026, Month: 2}
	r := &usage.Report{Query: usage.Query{From: m.First(), To: m.Last(), By: usage.ByDay}}
	for d := m.First(); !m.Last().Before(d); d = d.Add(1) {
		r.Periods = append(r.Periods, usage.Row{From: d, To: d, Figures: usage.Figures{Days: 1, Cycles: 3}})
	}
	r.Whole = usage.Row{From: m.First(), To: m.Last(), Figures: usage.Figures{Days: 28, Cycles: 84}}
	r.Machines = []usage.Row{{Room: "cellar", Machine: "1", Name: "=1+1", Figures: usage.Figures{Cycles: 84}}}
	return r
}

// TestReportByMail: a month's report goes to everybody who looks after the
// building, once, in their language, with its page and tables; whoever could not
// be reached gets it later, the others not again.
func TestReportByMail(t *testing.T) {
	w, o := mailed(t, "managers = [\"care@weiher.org\", \"board@weiher.org\"]\nlanguage = \"de\"\n")
	m := usage.Month{Year: 2026, Month: 2}
	o.Change(func(o *mailtest.Orders) { o.Password = "another" })
	if sent, err := w.app.sendReport(t.Context(), m, february()); err == nil || !sent {
		t.Errorf("with a server that refuses: %v, %v", sent, err)
	}
	o.Change(func(o *mailtest.Orders) { o.Password = "s3cret" })
	for range 3 {
		if sent, err := w.app.sendReport(t.Context(), m, february()); err != nil || !sent {
			t.Error(sent, err)
		}
	}
	var to []string
	for _, l := range o.All() {
		to = append(to, l.To)
	}
	if !slices.Equal(to, []string{"care@weiher.org", "board@weiher.org"}) {
		t.Fatalf("sent to %v", to)
	}
	subject, body, _ := w.letter(o, 1)
	if subject != "Wäsche im Februar 2026: "+w.app.file.Building.Name {
		t.Errorf("subject %q", subject)
	}
	for _, want := range []string{"laundry-2026-02.html", "periods-2026-02.csv", "machines-2026-02.csv", "text/csv"} {
		if !strings.Contains(body, want) {
			t.Errorf("the letter lacks %s", want)
		}
	}
	if again, err := w.app.sendReport(t.Context(), usage.Month{Year: 2026, Month: 3}, february()); err != nil || !again || len(o.All()) != 4 {
		t.Errorf("the next month: %v, %v, %d letters", again, err, len(o.All()))
	}
}

// TestReportsOfABuilding: the pages' reports know the tariff and the homes, and a
// building without sums has no monthly report.
func TestReportsOfABuilding(t *testing.T) {
	w := wiring(t, tariffed, nil).open()
	d := coordinator.Date{Year: 2026, Month: 2, Day: 1}
	rooms := w.app.pages.HouseRooms("en")
	r, err := w.app.report(t.Context(), usage.Query{From: d, To: d, By: usage.ByDay}, rooms)
	if err != nil || len(r.Rooms) != 2 || len(r.Machines) == 0 || r.Whole.Days != 0 {
		t.Errorf("%+v, %v", r, err)
	}
	if h := w.app.monthly().House(); len(h.Rooms) != 2 || len(h.Tariffs) != 1 || h.Zone == nil || h.Name != "Hand" {
		t.Errorf("the house is %+v", h)
	}
	if months, err := w.app.reportedMonths(t.Context()); err != nil || len(months) != 0 {
		t.Errorf("reports of %v, %v", months, err)
	}
	if _, err := w.app.storedReport(t.Context(), usage.Month{Year: 2026, Month: 2}, ""); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a report that is not there: %v", err)
	}
	if sent, err := w.app.sendReport(t.Context(), usage.Month{Year: 2026, Month: 2}, february()); sent || err != nil {
		t.Errorf("without a mail server: %v, %v", sent, err)
	}
}
