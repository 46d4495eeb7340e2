package words

import (
	"slices"

	"golang.org/x/text/language"
)

// All lists the languages in the order in which they are offered.
func All() []*Language { return slices.Clone(all) }

// English is the first language, and the fallback.
func English() *Language { return all[0] }

// Exactly finds the language with a code, such as "de"; nil when there is none.
func Exactly(code string) *Language {
	for _, l := range all {
		if l.code == code {
			return l
		}
	}
	return nil
}

var matcher = language.NewMatcher(tags())

func tags() []language.Tag {
	var out []language.Tag
	for _, l := range all {
		out = append(out, l.tag)
	}
	return out
}

// For finds the language nearest to a BCP 47 tag (de-AT: de); English where
// nothing is near.
func For(tag string) *Language {
	if l := Exactly(tag); l != nil { // nearly always
		return l
	}
	t, err := language.Parse(tag)
	if err != nil {
		return English()
	}
	return nearest(t)
}

// longestAccept bounds what is read of a header.
const longestAccept = 500

// Accepted finds the best language for an Accept-Language header (RFC 9110
// section 12.5.4); English for one that is missing, absurd, or asks for others.
func Accepted(header string) *Language {
	if len(header) > longestAccept {
		return English()
	}
	wanted, _, err := language.ParseAcceptLanguage(header)
	if err != nil {
		return English()
	}
	return nearest(wanted...)
}

func nearest(wanted ...language.Tag) *Language {
	_, i, confidence := matcher.Match(wanted...)
	if confidence == language.No {
		return English()
	}
	return all[i]
}
