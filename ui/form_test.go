package ui

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"drumturn/push/words"
	"unicode/utf8"
)

var formFields = []field{{"home", "Home", 10, false}, {"text", "Text", 20, false}, {"pass", "Passphrase", 20, true}}

func TestReadForm(t *testing.T) {
	cases := []struct {
		name, body string
		want       form
		refused    string
	}{
		{"plain", "home=12&text=hello+there", form{"home": "12", "text": "hello there", "pass": ""}, ""},
		{"spaces go", "home=++12++", form{"home": "12", "text": "", "pass": ""}, ""},
		{"spaces of a passphrase stay", "pass=+a+b+", form{"home": "", "text": "", "pass": " a b "}, ""},
		{"lines", "text=a%0D%0Ab", form{"home": "", "text": "a\nb", "pass": ""}, ""},
		{"other scripts", "home=%D9%85%D9%86%D8%B2%D9%84", form{"home": "منزل", "text": "", "pass": ""}, ""},
		{"unknown field", "home=12&admin=yes", nil, "does not belong"},
		{"twice", "home=12&home=13", form{"home": "12", "text": "", "pass": ""}, "sent twice"},
		{"too long", "home=12345678901", form{"home": "12345678901", "text": "", "pass": ""}, "may have 10 characters; this has 11"},
		{"long in bytes only", "home=%C3%A4%C3%A4%C3%A4%C3%A4%C3%A4%C3%A4%C3%A4%C3%A4%C3%A4%C3%A4", form{"home": "ääääääääää", "text": "", "pass": ""}, ""},
		{"not UTF-8", "home=%ff", form{"home": "", "text": "", "pass": ""}, "characters that cannot be used"},
		{"control characters", "home=a%00b", form{"home": "", "text": "", "pass": ""}, "characters that cannot be used"},
		{"turned text", "home=a%E2%80%AEb", form{"home": "", "text": "", "pass": ""}, "characters that cannot be used"},
		{"garbled", "home=%zz", form{}, "garbled"},
	}
	for _, c := range cases {
		got, err := readForm(c.body, formFields)
		if (err == nil) != (c.refused == "") || (err != nil && !strings.Contains(err.Error(), c.refused)) {
			t.Errorf("%s: %v, want %q", c.name, err, c.refused)
		}
		for k, v := range c.want {
			if got[k] != v {
				t.Errorf("%s: %s is %q, want %q", c.name, k, got[k], v)
			}
		}
	}
}

func TestOnlyOrdinaryForms(t *testing.T) {
	for _, kind := range []string{"", "application/json", "multipart/form-data; boundary=x", "text/plain"} {
		r := httptest.NewRequest(http.MethodPost, "/", strings.NewReader("home=12"))
		r.Header.Set("Content-Type", kind)
		if _, err := parseForm(r, formFields...); err == nil {
			t.Errorf("%q is taken", kind)
		}
	}
	// A field in the address is not one of the form.
	r := httptest.NewRequest(http.MethodPost, "/?home=13", strings.NewReader("text=a"))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded; charset=UTF-8")
	f, err := parseForm(r, formFields...)
	if err != nil || f["home"] != "" || f["text"] != "a" {
		t.Errorf("%v %v", f, err)
	}
}

func FuzzReadForm(f *testing.F) {
	for _, seed := range []string{"home=12&text=x", "home=1&home=2", "%", "a=b", "home=%E2%80%AE", "text=" + strings.Repeat("x", 99)} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, body string) {
		got, err := readForm(body, formFields)
		if err != nil {
			if _, text, known := refusal(words.English(), err); !known || text == "" {
				t.Fatalf("the refusal has no sentence: %v", err)
			}
			return
		}
		for _, want := range formFields {
			value := got[want.name]
			if !utf8.ValidString(value) || utf8.RuneCountInString(value) > want.max || strings.ContainsAny(value, "\x00\r\u202e") {
				t.Fatalf("%s: %q was let through", want.name, value)
			}
		}
		if len(got) > len(formFields) {
			t.Fatalf("%v has fields that nobody asked for", got)
		}
	})
}

func FuzzReadJoin(f *testing.F) {
	f.Add("wash", "7", "yes")
	f.Add("dry", "NaN", "")
	f.Add("", "1e99", "no")
	f.Fuzz(func(t *testing.T, need, kg, yes string) {
		ev, err := readJoin(form{"need": need, "min-kg": kg, "lower": yes, "dry-after": yes})
		if err == nil && !(ev.Wishes.MinKg >= 0 && ev.Wishes.MinKg <= 100) {
			t.Fatalf("%q kg was taken as %v", kg, ev.Wishes.MinKg)
		}
	})
}
