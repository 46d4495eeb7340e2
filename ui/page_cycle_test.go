package ui

import (
	"strings"
	"testing"

	"drumturn/ui/specimen"
)

// managerOf serves the specimens to their manager, who gets a page.
func managerOf(t *testing.T, path string) (status int, html string) {
	t.Helper()
	s := newTestServer(t, specimen.NewHouse(hashSecret), func(o *Options) { o.Past, o.Report = specimen.Past{}, specimen.Report })
	w := get(path).as("", specimen.Secret(specimen.Manager)).of(s)
	return w.Code, w.Body.String()
}

func TestCyclePage(t *testing.T) {
	status, html := managerOf(t, "/manager/r/cellar/m/w2/c/361")
	if status != 200 || !strings.Contains(html, "chart-band") {
		t.Errorf("%d %s", status, html)
	}
}
