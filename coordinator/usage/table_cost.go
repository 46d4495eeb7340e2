package usage

// windows is the energy by window of the tariff.
func (r *Report) windows() Table {
	t := Table{Name: "windows", Columns: []Column{
		{Key: "tariff", Kind: KindNumber}, {Key: "since", Kind: KindWord}, {Key: "name", Kind: KindText}, {Key: "price_per_kwh", Kind: KindMoney, Unit: r.Currency.Code},
		{"energy_cycles", KindNumber, "kWh", 3}, {"energy_standby", KindNumber, "kWh", 3},
	}}
	priced := r.Currency.Code != ""
	if priced {
		t.Columns = append(t.Columns, r.moneyColumn("cost"))
	}
	for i := range r.Windows {
		w := &r.Windows[i]
		since := none
		if !w.Since.IsZero() {
			since = Word(w.Since.String())
		}
		cells := []Cell{Count(w.Tariff), since, Word(w.Name), Word(w.PricePerKWh), Fixed(w.Cycles.KWh(), 3), Fixed(w.Standby.KWh(), 3)}
		if priced {
			cells = append(cells, r.money(w.Cost))
		}
		t.Rows = append(t.Rows, cells)
	}
	return t
}

// homes is what each home's loads took, where the house rules want that.
func (r *Report) homes() Table {
	t := Table{Name: "homes", Columns: []Column{
		{Key: "who", Kind: KindWord}, {Key: "home", Kind: KindText}, {Key: "cycles", Kind: KindNumber}, {"energy", KindNumber, "kWh", 3},
	}}
	priced := r.Currency.Code != ""
	if priced {
		t.Columns = append(t.Columns, r.moneyColumn("cost"))
	}
	for i := range r.Homes {
		h := &r.Homes[i]
		cells := []Cell{Word(string(h.Who)), Word(h.Name), Count(h.Cycles), Fixed(h.Energy.KWh(), 3)}
		if priced {
			cells = append(cells, r.money(h.Cost))
		}
		t.Rows = append(t.Rows, cells)
	}
	return t
}

// costs are the parts of the whole; none where nothing is priced.
func (r *Report) costs() Table {
	t := Table{Name: "costs", Columns: []Column{{Key: "part", Kind: KindWord}, r.moneyColumn("cost")}}
	if !r.Costs.Total.Known {
		return t
	}
	for _, part := range []struct {
		name   string
		amount Amount
	}{{"cycles", r.Costs.Cycles}, {"standby", r.Costs.Standby}, {"standing_charge", r.Costs.Standing}, {"total", r.Costs.Total}} {
		t.Rows = append(t.Rows, []Cell{Word(part.name), r.money(part.amount)})
	}
	return t
}
