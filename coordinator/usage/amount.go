package usage

import (
	"fmt"
	"strings"
)

// Currency is that of a report.
type Currency struct {
	// Code is that of ISO 4217; empty: there is no tariff.
	Code string
	// Digits is how many decimals its amounts have: 2 for EUR, 0 for JPY.
	Digits int
}

// Amount is money in the smallest units of a report's currency: cents. Known is
// false where no tariff held, or where the report spans two currencies.
type Amount struct {
	Minor int64
	Known bool
}

// Text writes the amount with a point and the currency's decimals, such as
// "12.30"; empty when it is not known.
func (c Currency) Text(a Amount) string {
	if !a.Known {
		return ""
	}
	if c.Digits == 0 {
		return fmt.Sprint(a.Minor)
	}
	minus, minor := "", a.Minor
	if minor < 0 {
		minus, minor = "-", -minor
	}
	digits := fmt.Sprintf("%0*d", c.Digits+1, minor)
	cut := len(digits) - c.Digits
	return minus + strings.Join([]string{digits[:cut], digits[cut:]}, ".")
}
