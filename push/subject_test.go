package push

import (
	"strings"
	"testing"
)

func TestValidateSubject(t *testing.T) {
	for subject, wrong := range map[string]string{
		"laundry@example.org":                  "",
		"house.9+laundry@mail.example.co":      "",
		"https://example.org/contact":          "",
		"https://example.org":                  "",
		"":                                     "missing",
		"mailto:laundry@example.org":           "mailto:",
		"MAILTO:laundry@example.org":           "mailto:",
		"Laundry <laundry@example.org>":        "spaces",
		"laundry@example.org ":                 "spaces",
		"laundry":                              "neither",
		"http://example.org":                   "neither",
		"https://":                             "neither",
		"https://me@example.org/":              "neither",
		"laundry@localhost":                    "open internet",
		"https://localhost/":                   "open internet",
		"laundry@cellar.local":                 "open internet",
		"laundry@cellar.invalid":               "open internet",
		"laundry@cellar.test":                  "open internet",
		"laundry@some.example":                 "open internet",
		"laundry@router.home.arpa":             "open internet",
		"laundry@box.lan":                      "open internet",
		"laundry@[192.0.2.1]":                  "open internet",
		"https://192.0.2.1/":                   "open internet",
		"https://[2001:db8::1]/":               "open internet",
		"laundry@192.0.2.1":                    "open internet",
		"laundry@example..org":                 "neither",
		"https://" + strings.Repeat("a.", 150): "open internet",
	} {
		err := ValidateSubject(subject)
		if wrong == "" && err != nil || wrong != "" && (err == nil || !strings.Contains(err.Error(), wrong)) {
			t.Errorf("%q: %v, want %q", subject, err, wrong)
		}
		if err != nil && !strings.Contains(err.Error(), "laundry@example.org, or an address that begins with https://") && wrong != "" {
			t.Errorf("%q: does not say what is right: %v", subject, err)
		}
	}
}

func FuzzValidateSubject(f *testing.F) {
	f.Add("laundry@example.org")
	f.Add("https://[::1]/x")
	f.Fuzz(func(t *testing.T, subject string) {
		if ValidateSubject(subject) != nil {
			return
		}
		if strings.HasPrefix(subject, "mailto:") || strings.ContainsAny(subject, " \n<>") ||
			!strings.HasPrefix(subject, "https:") && strings.Count(subject, "@") < 1 {
			t.Fatalf("let through %q", subject)
		}
	})
}
