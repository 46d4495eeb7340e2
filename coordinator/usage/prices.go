package usage

import (
	"time"

	"github.com/shopspring/decimal"

	"drumturn/coordinator"
)

// prices reckons what energy costs, exactly: a milliwatt-hour is a millionth of a
// kilowatt-hour, a price so many millionths, so nothing is rounded here.
type prices struct {
	tariffs  coordinator.Tariffs
	currency Currency
	rounding coordinator.Rounding
}

// pricesFor finds the currency of the tariffs that figures were divided by; its
// code is empty when there is none, and two reports that there is more than one.
func pricesFor(tariffs coordinator.Tariffs, used []Used, standing []*coordinator.TariffVersion) (p prices, two bool) {
	p.tariffs = tariffs
	take := func(v *coordinator.TariffVersion) {
		if v == nil || v.Tariff.Currency == "" {
			return
		}
		two = two || p.currency.Code != "" && p.currency.Code != v.Tariff.Currency
		p.currency = Currency{v.Tariff.Currency, coordinator.CurrencyDigits(v.Tariff.Currency)}
		p.rounding = v.Tariff.Rounding
	}
	for _, u := range used {
		take(tariffs.Numbered(u.Tariff))
	}
	for _, v := range standing {
		take(v)
	}
	if two {
		p.currency = Currency{}
	}
	return p, two
}

// of is the price of a kilowatt-hour; ok is false where none held.
func (p *prices) of(u *Used) (price decimal.Decimal, ok bool) {
	v := p.tariffs.Numbered(u.Tariff)
	if v == nil || v.Tariff.Currency == "" {
		return price, false
	}
	micros, ok := v.Tariff.Price(u.Window)
	return decimal.New(micros, -6), ok
}

// exact is what energy costs in cycles and outside of them; unpriced is what no
// tariff held for.
func (p *prices) exact(used []Used) (cycles, standby decimal.Decimal, unpriced MilliWh) {
	for i := range used {
		u := &used[i]
		price, ok := p.of(u)
		if !ok {
			unpriced += u.Cycles + u.Standby
			continue
		}
		cycles = cycles.Add(price.Mul(decimal.New(int64(u.Cycles), -6)))
		standby = standby.Add(price.Mul(decimal.New(int64(u.Standby), -6)))
	}
	return cycles, standby, unpriced
}

// cost is what all energy costs.
func (p *prices) cost(used []Used) decimal.Decimal {
	sum := decimal.Zero
	for i := range used {
		if price, ok := p.of(&used[i]); ok {
			sum = sum.Add(price.Mul(decimal.New(int64(used[i].Cycles+used[i].Standby), -6)))
		}
	}
	return sum
}

// standing is the standing charge of a stretch of days. A part of a month or year
// is charged by its days.
func (p *prices) standing(days span) decimal.Decimal {
	sum := decimal.Zero
	for d := days.from; !days.to.Before(d); d = d.Add(1) {
		if v := p.tariffs.On(d); v != nil && v.Tariff.StandingMicros > 0 {
			sum = sum.Add(decimal.New(v.Tariff.StandingMicros, -6).DivRound(decimal.New(daysIn(v.Tariff.StandingPer, d), 0), 12))
		}
	}
	return sum
}

// daysIn is over how many days a charge is spread.
func daysIn(per coordinator.PerPeriod, d Date) int64 {
	switch per {
	case coordinator.PerDay:
		return 1
	case coordinator.PerYear:
		return int64(time.Date(d.Year, 12, 31, 12, 0, 0, 0, time.UTC).YearDay())
	}
	return int64(MonthOf(d).Last().Day)
}
