package config

import (
	"bytes"
	"crypto/rand"
	_ "embed"
	"text/template"

	"drumturn/coordinator"
)

// TemplateOptions fill the building file that a new house begins with. What is
// empty is invented.
type TemplateOptions struct {
	Building, Zone string
	// PublicURL is where browsers will reach the pages.
	PublicURL string
	// PushSubject is the contact for push services.
	PushSubject string
	// Secret makes the meters' passwords; nil: at random.
	Secret func() string
}

//go:embed template.toml
var templateText string

var fileTemplate = template.Must(template.New("building.toml").Funcs(template.FuncMap{"quote": coordinator.TOMLText}).Parse(templateText))

// Template is a commented building file of an invented building, as it is
// written for somebody to change. It holds passwords: write it for its owner alone.
func Template(o TemplateOptions) []byte {
	if o.Building == "" {
		o.Building = "Plover Yard 3"
	}
	if o.Zone == "" {
		o.Zone = "Europe/Berlin"
	}
	if o.PublicURL == "" {
		o.PublicURL = "https://laundry.example.org"
	}
	if o.PushSubject == "" {
		o.PushSubject = "caretaker@example.org"
	}
	if o.Secret == nil {
		o.Secret = rand.Text
	}
	var out bytes.Buffer
	if err := fileTemplate.Execute(&out, o); err != nil {
		panic("config: the template of the building file is broken: " + err.Error())
	}
	return out.Bytes()
}
