package config_test

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"

	"drumturn/config"
	"drumturn/coordinator"
)

func TestTemplateIsTaken(t *testing.T) {
	f := parse(t, string(config.Template(config.TemplateOptions{})))
	if len(f.Rooms) != 1 || len(f.Rooms[0].Machines) != 3 || len(f.Meters) != 3 {
		t.Errorf("rooms %+v, meters %+v", f.Rooms, f.Meters)
	}
	for _, w := range f.Warnings {
		if !strings.Contains(w.Wrong, "invented name") {
			t.Errorf("not expected: %s", w)
		}
	}
	if len(f.Warnings) != 2 {
		t.Errorf("%d warnings, want one for each invented name", len(f.Warnings))
	}
}

// With a real address and contact, nothing is said about it at all.
func TestTemplateWithOptions(t *testing.T) {
	o := config.TemplateOptions{
		Building: "Haus \"Am Weiher\" \\ 3\n\x01", Zone: "America/Toronto",
		PublicURL: "https://laundry.weiher.org", PushSubject: "caretaker@weiher.org",
		Secret: func() string { return `quote " and \ backslash` },
	}
	var raw struct{ Building struct{ Name string } }
	if err := toml.Unmarshal(config.Template(o), &raw); err != nil || raw.Building.Name != o.Building {
		t.Errorf("the name %q is read as %q, %v", o.Building, raw.Building.Name, err)
	}
	o.Building = "Haus \"Am Weiher\" \\ 3"
	o.Secret = numbered()
	f := parse(t, string(config.Template(o)))
	if f.Building.Name != o.Building || f.Building.Zone.String() != o.Zone || f.Server.PushSubject != o.PushSubject {
		t.Errorf("building %+v, server %+v", f.Building, f.Server)
	}
	if len(f.Warnings) > 0 {
		t.Errorf("warnings: %v", f.Warnings)
	}
}

func numbered() func() string {
	n := 0
	return func() string { n++; return fmt.Sprintf("correct horse battery %d", n) }
}

// Every template has secrets of its own.
func TestTemplateSecretsDiffer(t *testing.T) {
	secrets := map[string]bool{}
	for range 2 {
		f := parse(t, string(config.Template(config.TemplateOptions{})))
		for _, m := range f.Meters {
			switch o := m.Options.(type) {
			case *config.MQTTMeter:
				secrets[o.Password.Reveal()] = true
			case *config.HTTPPushMeter:
				secrets[o.Token.Reveal()] = true
			}
		}
	}
	if len(secrets) != 6 {
		t.Errorf("%d different secrets in two templates, want 6", len(secrets))
	}
}

// What the template shows as settings of the house rules is what holds without them,
// but for the opening hours.
func TestTemplateShowsTheDefaults(t *testing.T) {
	f := parse(t, string(config.Template(config.TemplateOptions{})))
	for _, d := range config.Differences(f.Rooms[0].Seed, coordinator.DefaultRules()) {
		if !strings.HasPrefix(d, "hours.") {
			t.Errorf("the template differs from the default: %s", d)
		}
	}
}

// The settings that the template only mentions are good ones, too.
func TestTemplateCommentsAreGood(t *testing.T) {
	text := string(config.Template(config.TemplateOptions{PublicURL: "https://laundry.weiher.org", PushSubject: "a@weiher.org"}))
	for _, name := range []string{"washer-4", "try-1", "try-2", "washer-5"} {
		text = uncomment(t, text, "[meters."+name+"]")
	}
	for _, head := range []string{"[rooms.cellar.rules]", "[[tariff.windows]]", "[[tariff.cycle_prices]]"} {
		text = uncomment(t, text, head)
	}
	for _, line := range []string{`push_hosts`, `reserved_for`, `idle_below_w`, `idle_for`, `silent_after`, `doubt`, `register_rolls_over_wh`, `id`, `time`, `closed`, `valid_from`, `standing_charge`, `standing_per`} {
		text = replaceOne(t, text, "\n# "+line+" = ", "\n"+line+" = ")
	}
	text = strings.ReplaceAll(text, "secrets/broker", "secret")
	for _, p := range problems(t, "building.toml", text) {
		if p.Severity == config.Mistake || !strings.Contains(p.Wrong, "no machine has this meter") {
			t.Errorf("not expected: %s", p)
		}
	}
}

// uncomment takes the # from a header and the lines that follow it.
func uncomment(t *testing.T, text, head string) string {
	t.Helper()
	block := regexp.MustCompile(`(?m)^# ` + regexp.QuoteMeta(head) + `\n(?:# .*\n)*`).FindString(text)
	if block == "" {
		t.Fatalf("the template does not mention %s", head)
	}
	return strings.Replace(text, block, strings.ReplaceAll("\n"+block, "\n# ", "\n")[1:], 1)
}

func replaceOne(t *testing.T, text, old, with string) string {
	t.Helper()
	if strings.Count(text, old) != 1 {
		t.Fatalf("the template mentions %q %d times", old, strings.Count(text, old))
	}
	return strings.Replace(text, old, with, 1)
}

// The cautions stand where meters are set up.
func TestTemplateCautions(t *testing.T) {
	text := string(config.Template(config.TemplateOptions{}))
	for _, words := range []string{"rated for the highest power", "licensed electrician", "No extension leads", "fire risk", "Never rely", "approved for billing"} {
		if !strings.Contains(text, words) {
			t.Errorf("the template does not say %q", words)
		}
	}
}
