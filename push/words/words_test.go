package words

import (
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/text/feature/plural"
)

// names are the placeholders of a template, sorted and once each.
func names(t template) []string {
	seen := map[string]bool{}
	for _, p := range t {
		if p.name != "" {
			seen[p.name] = true
		}
	}
	return slices.Sorted(maps.Keys(seen))
}

// TestEveryLanguageSaysEverything: the same keys, the same placeholders. A form
// for one certain number ("one", "two", "zero") need not repeat the number.
func TestEveryLanguageSaysEverything(t *testing.T) {
	en := English()
	for _, l := range All() {
		if a, b := slices.Sorted(maps.Keys(en.messages)), slices.Sorted(maps.Keys(l.messages)); !slices.Equal(a, b) {
			t.Errorf("%s lacks or adds keys:\n%v\n%v", l.code, a, b)
		}
		for key, m := range l.messages {
			want := names(en.messages[key][plural.Other])
			for form, text := range m {
				got := names(text)
				if form != plural.Other && !slices.Contains(got, "n") && slices.Contains(want, "n") {
					got = slices.Sorted(slices.Values(append(got, "n")))
				}
				if !slices.Equal(got, want) {
					t.Errorf("%s %s: placeholders %v, want %v", l.code, key, got, want)
				}
				if len(text) == 0 {
					t.Errorf("%s %s is empty", l.code, key)
				}
			}
		}
	}
}

// TestPluralForms: a message that counts has every form that its language needs
// for numbers up to 200 (the rules of Unicode's CLDR, by golang.org/x/text).
func TestPluralForms(t *testing.T) {
	for _, l := range All() {
		needed := map[plural.Form]bool{}
		for n := range 200 {
			needed[plural.Cardinal.MatchPlural(l.tag, n, 0, 0, 0, 0)] = true
		}
		for form := range needed {
			if _, ok := l.messages["span.days"][form]; !ok {
				t.Errorf("%s: span.days has no form %v", l.code, form)
			}
		}
	}
}

// TestDays: numbers in words, by the languages' own grammar.
func TestDays(t *testing.T) {
	for _, c := range []struct {
		code string
		days int
		want string
	}{
		{"en", 1, "1 day"}, {"en", 3, "3 days"}, {"de", 1, "1 Tag"}, {"de", 2, "2 Tage"}, {"fr", 1, "1 jour"}, {"fr", 2, "2 jours"},
		{"es", 1, "1 día"}, {"es", 4, "4 días"}, {"ar", 1, "يوم واحد"}, {"ar", 2, "يومان"}, {"ar", 3, "3 أيام"}, {"ar", 11, "11 يومًا"}, {"ar", 100, "100 يوم"},
	} {
		if got := Exactly(c.code).Span(time.Duration(c.days) * 24 * time.Hour); got != c.want {
			t.Errorf("%s %d: %q, want %q", c.code, c.days, got, c.want)
		}
	}
}

func TestSpan(t *testing.T) {
	for d, want := range map[time.Duration]string{
		20 * time.Second: "under a minute", 42 * time.Minute: "42 min", 2 * time.Hour: "2 h", 95 * time.Minute: "1 h 35 min", 30 * time.Hour: "1 day",
	} {
		if got := English().Span(d); got != want {
			t.Errorf("%v: %q, want %q", d, got, want)
		}
	}
}

func TestClock(t *testing.T) {
	now := time.Date(2026, 3, 17, 13, 47, 0, 0, time.UTC) // a Tuesday
	for _, c := range []struct {
		code string
		at   time.Time
		want string
	}{
		{"en", now, "13:47"}, {"en", now.Add(-26 * time.Hour), "Mon 11:47"}, {"en", now.AddDate(0, 0, -30), "15 Feb 13:47"}, {"en", time.Time{}, ""},
		{"de", now.Add(24 * time.Hour), "Mi 13:47"}, {"de", now.AddDate(0, 0, -30), "15. Febr. 13:47"}, {"fr", now.Add(24 * time.Hour), "mer. 13:47"},
		{"es", now.Add(24 * time.Hour), "mié 13:47"}, {"ar", now.Add(24 * time.Hour), "الأربعاء 13:47"},
	} {
		if got := Exactly(c.code).Clock(c.at, now); got != c.want {
			t.Errorf("%s: %q, want %q", c.code, got, c.want)
		}
	}
	for code, want := range map[string]string{"en": "Tuesday 17 March 2026", "de": "Dienstag, 17. März 2026", "es": "martes 17 de marzo de 2026", "fr": "mardi 17 mars 2026"} {
		if got := Exactly(code).Date(now); got != want {
			t.Errorf("%s: %q, want %q", code, got, want)
		}
	}
	for code, want := range map[string]string{"en": "Tuesday 17 March", "de": "Dienstag, 17. März", "es": "martes 17 de marzo"} {
		if got := Exactly(code).Day(now); got != want {
			t.Errorf("%s: %q, want %q", code, got, want)
		}
	}
}

// TestNearest: RFC 4647 section 3.4 (from memory) and RFC 9110 section 12.5.4.
func TestNearest(t *testing.T) {
	for tag, want := range map[string]string{"de": "de", "de-AT": "de", "de_CH": "de", "DE": "de", "fr-CA": "fr", "es-419": "es", "ar-EG": "ar", "": "en", "-": "en", "zz": "en", "en-GB": "en"} {
		if got := For(tag).Code(); got != want {
			t.Errorf("%q: %s, want %s", tag, got, want)
		}
	}
	for header, want := range map[string]string{
		"": "en", "de-AT,de;q=0.9,en;q=0.8": "de", "en;q=0.5, fr;q=0.9": "fr", "ja, ar;q=0.4": "ar", "ja": "en", "*": "en", "es;q=junk": "en",
		strings.Repeat("de,", 400): "en",
	} {
		if got := Accepted(header).Code(); got != want {
			t.Errorf("%q: %s, want %s", header, got, want)
		}
	}
}

func TestNamesInSentencesFromRightToLeft(t *testing.T) {
	ar := Exactly("ar")
	if got := ar.Say("machine.place", "n", 2, "room", "Cellar"); got != "2 (\u2068Cellar\u2069)" {
		t.Errorf("%+q", got)
	}
	if got := ar.Say("machine.place", "n", 2, "room", "القبو"); got != "2 (القبو)" || ar.Dir() != "rtl" {
		t.Errorf("%+q %s", got, ar.Dir())
	}
	if got := English().Say("machine.place", "n", 2, "room", "القبو"); strings.Contains(got, "\u2068") {
		t.Errorf("%+q", got)
	}
}

func TestWhatDoesNotRead(t *testing.T) {
	for _, text := range []string{`a = "}"`, `a = "{"`, `a = "{}"`, `a = "{a b}"`, `a = 1`, `a = { other = "x", three = "y" }`, `a = { other = 1 }`, `a`} {
		if _, err := parse("en", []byte(text)); err == nil {
			t.Errorf("%s is taken", text)
		}
	}
	if _, err := parse("not a tag", nil); err == nil {
		t.Error("a tag that is none is taken")
	}
}

func TestWhatIsMissingShows(t *testing.T) {
	if got := English().Say("no.such"); got != "no.such" {
		t.Errorf("%q", got)
	}
	if got := English().Say("machine.place", "n", 1); got != "1 ({room})" {
		t.Errorf("%q", got)
	}
	if Exactly("zz") != nil {
		t.Error("a language that nobody speaks here")
	}
}

func TestValuesAreMadeWhereTheyAreUsed(t *testing.T) {
	var asked []string
	got := English().SayBy("machine.place", func(name string) string { asked = append(asked, name); return "<" + name + ">" })
	if want := English().Say("machine.place", "n", "<n>", "room", "<room>"); got != want || !slices.Equal(asked, English().Placeholders("machine.place")) {
		t.Errorf("%q, want %q; asked for %v", got, want, asked)
	}
}

// TestNumber: decimal marks by Unicode's CLDR; digits are those on the machines.
func TestNumber(t *testing.T) {
	for _, c := range []struct {
		code   string
		v      float64
		digits int
		want   string
	}{
		{"en", 7.5, 1, "7.5"}, {"en", 7, 1, "7"}, {"de", 7.5, 1, "7,5"}, {"fr", 0.756, 2, "0,76"}, {"es", 7.5, 1, "7,5"}, {"ar", 7.5, 1, "7.5"}, {"ar", 12, 0, "12"},
		{"de", 2150, 0, "2.150"},
	} {
		if got := Exactly(c.code).Number(c.v, c.digits); got != c.want {
			t.Errorf("%s %v: %q, want %q", c.code, c.v, got, c.want)
		}
	}
}

// TestPowerAndEnergy: as many digits as a person reads, marks by CLDR.
func TestPowerAndEnergy(t *testing.T) {
	for _, c := range []struct{ code, got, want string }{
		{"en", English().Watts(1.25), "1.2 W"}, {"en", English().Watts(2150.4), "2,150 W"}, {"de", Exactly("de").Watts(4), "4,0 W"},
		{"en", English().KWh(800), "0.80 kWh"}, {"fr", Exactly("fr").KWh(812), "0,81 kWh"}, {"es", Exactly("es").KWh(12340), "12,34 kWh"},
	} {
		if c.got != c.want {
			t.Errorf("%s: %q, want %q", c.code, c.got, c.want)
		}
	}
}

// TestEveryCountHasItsForms: what counts in English has, in each language, every
// form of its cardinal numbers, or of its ordinal ones where English has "2nd".
func TestEveryCountHasItsForms(t *testing.T) {
	for _, key := range English().Keys() {
		if !English().Counts(key) {
			continue
		}
		rules := plural.Cardinal
		if _, ordinal := English().messages[key][plural.Two]; ordinal {
			rules = plural.Ordinal
		}
		for _, l := range All() {
			for n := range 200 {
				if form := rules.MatchPlural(l.tag, n, 0, 0, 0, 0); len(l.messages[key][form]) == 0 {
					t.Errorf("%s: %s has no form for %d", l.code, key, n)
					break
				}
			}
		}
	}
}
