package words

import (
	"math"

	"golang.org/x/text/language"
	"golang.org/x/text/number"
)

// westernDigits is a tag that writes numbers in the digits on machines, doors
// and clocks, which are the same for all who stand before them.
func westernDigits(tag language.Tag) language.Tag {
	t, err := tag.SetTypeForKey("nu", "latn")
	if err != nil {
		return tag
	}
	return t
}

// Number writes a number as the language does, with at most the given number of
// digits behind the decimal mark: "7.5", "7,5".
func (l *Language) Number(v float64, digits int) string {
	return l.numbers.Sprint(number.Decimal(v, number.MaxFractionDigits(digits)))
}

// Fixed is Number with just as many digits behind the decimal mark: "0.80".
func (l *Language) Fixed(v float64, digits int) string {
	unit := math.Pow10(digits) // Rounded here: what the printer itself rounds loses its zeros.
	return l.numbers.Sprint(number.Decimal(math.RoundToEven(v*unit)/unit, number.MinFractionDigits(digits), number.MaxFractionDigits(digits)))
}

// Watts says a power: what is small with a digit behind the decimal mark.
func (l *Language) Watts(w float64) string {
	digits := 0
	if w < 10 {
		digits = 1
	}
	return l.Say("unit.w", "v", l.Fixed(w, digits))
}

// KWh says an energy of so many Wh, in kWh.
func (l *Language) KWh(wh float64) string { return l.Say("unit.kwh", "v", l.Fixed(wh/1000, 2)) }
