package words

import (
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
