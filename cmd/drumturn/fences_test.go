package main

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// fence says which folders, with those below them, may import a third-party
// module: in code and in tests, or in tests only.
type fence struct{ code, tests []string }

// everywhere is every folder.
const everywhere = "."

// only makes the fence of one folder.
func only(folder string) fence { return fence{code: []string{folder}} }

// inTests makes the fence of a module that tests alone need.
func inTests(folders ...string) fence { return fence{tests: folders} }

// fences are around every module that go.mod requires directly, without its
// major version.
var fences = map[string]fence{
	"github.com/labstack/echo":              only("ui"),
	"github.com/prometheus/client_golang":   only("ui/metrics"),
	"go.etcd.io/bbolt":                      only("coordinator/store"),
	"github.com/SherClockHolmes/webpush-go": {code: []string{"push/webpush"}, tests: []string{"cmd/drumturn"}},
	"github.com/wneessen/go-mail":           only("push/mail"),
	"github.com/emersion/go-smtp":           {code: []string{"push/mail/mailtest"}, tests: []string{"push/mail", "cmd/drumturn"}},
	"github.com/emersion/go-sasl":           only("push/mail/mailtest"),
	"github.com/robfig/cron":                only("coordinator/usage"),
	"github.com/shopspring/decimal":         only("coordinator/usage"),
	"github.com/go-webauthn/webauthn":       only("ui/passkey"),
	"github.com/mochi-mqtt/server":          {code: []string{"coordinator/meter/mqtt"}, tests: []string{"cmd/drumturn"}},
	"github.com/eclipse/paho.golang":        {code: []string{"coordinator/meter/mqtt"}, tests: []string{"cmd/drumturn"}},
	"github.com/alecthomas/kong":            only("cmd/drumturn"),
	"github.com/pelletier/go-toml":          {code: []string{"config", "push/words"}},
	"github.com/piglig/go-qr":               only("ui"),
	"github.com/pb33f/libopenapi":           inTests("ui/api"),
	"github.com/pb33f/libopenapi-validator": inTests("ui/api"),
	"github.com/chromedp/chromedp":          inTests("ui", "cmd/drumturn"),
	"github.com/chromedp/cdproto":           inTests("ui", "cmd/drumturn"),
	"golang.org/x/crypto":                   {code: []string{"ui", "cmd/drumturn"}},
	"golang.org/x/net":                      inTests("ui"),
	"golang.org/x/text":                     {code: []string{"config", "push/words"}, tests: []string{"coordinator"}},
	"golang.org/x/time":                     only("ui"),
	"pgregory.net/rapid":                    inTests(everywhere),
}

// within reports whether a folder is one of some, or below one.
func within(folder string, some []string) bool {
	return slices.ContainsFunc(some, func(f string) bool {
		return f == everywhere || folder == f || strings.HasPrefix(folder, f+"/")
	})
}

// fenced reports whether a file of a folder stands outside the fence of an import.
func fenced(folder, target string, test bool) bool {
	for module, f := range fences {
		if target == module || strings.HasPrefix(target, module+"/") {
			return !within(folder, f.code) && (!test || !within(folder, f.tests))
		}
	}
	return false
}

// majorVersion is what a module's path ends with from version 2 on.
var majorVersion = regexp.MustCompile(`/v[0-9]+$`)

// directly lists the modules that a go.mod requires directly, without major versions.
func directly(mod string) []string {
	var modules []string
	block := false
	for line := range strings.Lines(mod) {
		line = strings.TrimSpace(line)
		required, alone := strings.CutPrefix(line, "require ")
		switch {
		case line == "require (":
			block = true
		case line == ")":
			block = false
		case line == "" || strings.HasSuffix(line, "// indirect") || !block && !alone:
		default:
			modules = append(modules, majorVersion.ReplaceAllString(strings.Fields(required)[0], ""))
		}
	}
	return modules
}

// unfenced lists the modules that have no fence.
func unfenced(modules []string) []string {
	return slices.DeleteFunc(slices.Clone(modules), func(m string) bool { _, there := fences[m]; return there })
}

// TestEveryModuleHasItsFence, and every fence its module.
func TestEveryModuleHasItsFence(t *testing.T) {
	mod, err := os.ReadFile("../../go.mod")
	if err != nil {
		t.Fatal(err)
	}
	modules := directly(string(mod))
	if len(modules) < 10 {
		t.Fatalf("go.mod reads as if it required only %v", modules)
	}
	for _, m := range unfenced(modules) {
		t.Errorf("go.mod requires %s directly, and no fence says who may import it", m)
	}
	for m := range fences {
		if !slices.Contains(modules, m) {
			t.Errorf("there is a fence around %s, which go.mod does not require directly", m)
		}
	}
}

// TestFencesHoldTests: what tests import stands inside the fences, too. That of
// other files is the dependency rule's.
func TestFencesHoldTests(t *testing.T) {
	for _, s := range parsed(t, func(test bool) bool { return test }) {
		for _, imported := range s.imports() {
			if fenced(s.folder, imported, true) {
				t.Errorf("%s imports %s, which is fenced in elsewhere", s.name, imported)
			}
		}
	}
}

// TestFencesCanFail shows that they find what they are there to find.
func TestFencesCanFail(t *testing.T) {
	for _, c := range []struct {
		folder, target string
		test, out      bool
	}{
		{"cmd/drumturn", "github.com/labstack/echo/v4", false, true},
		{"ui", "github.com/labstack/echo/v4/middleware", false, false},
		{"uix", "github.com/labstack/echo/v4", false, true},
		{"ui", "github.com/chromedp/chromedp", false, true},
		{"ui", "github.com/chromedp/chromedp", true, false},
		{"queue", "github.com/chromedp/chromedp", true, true},
		{"queue", "pgregory.net/rapid", false, true},
		{"queue", "pgregory.net/rapid", true, false},
		{"coordinator", "golang.org/x/text/currency", false, true},
		{"coordinator", "golang.org/x/text/currency", true, false},
		{"ui/api", "github.com/pb33f/libopenapi-validator/errors", false, true},
		{"queue", "slices", false, false},
	} {
		if got := fenced(c.folder, c.target, c.test); got != c.out {
			t.Errorf("%s imports %s (test: %v): outside is %v, want %v", c.folder, c.target, c.test, got, c.out)
		}
	}
	const mod = "module m\n\ngo 1.26\n\nrequire example.org/one/v3 v3.0.0\n\nrequire (\n\tgo.etcd.io/bbolt v1.5.0\n\texample.org/two v1.0.0\n\texample.org/far v1.0.0 // indirect\n)\n"
	if got := unfenced(directly(mod)); !slices.Equal(got, []string{"example.org/one", "example.org/two"}) {
		t.Errorf("without a fence are %v", got)
	}
}
