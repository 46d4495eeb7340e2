package ui

import (
	"strings"
	"testing"

	"drumturn/push/words"
)

// TestAgentFamilies by headers as browsers send them (their forms from memory).
func TestAgentFamilies(t *testing.T) {
	for header, want := range map[string]string{
		"Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0":                                                                  "firefox linux",
		"Mozilla/5.0 (Linux; Android 10; K) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/140.0.0.0 Mobile Safari/537.36":                         "chrome android",
		"Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/140.0.0.0 Safari/537.36 Edg/140.0.0.0":           "edge windows",
		"Mozilla/5.0 (iPhone; CPU iPhone OS 18_5 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko) Version/18.5 Mobile/15E148 Safari/604.1": "safari iphone",
		"Mozilla/5.0 (Macintosh; Intel Mac OS X 10_15_7) AppleWebKit/605.1.15 (KHTML, like Gecko) Version/18.5 Safari/605.1.15":                   "safari mac",
		"": "other other", "<script>": "other other", strings.Repeat("x", 5000) + "Firefox": "other other",
	} {
		if got := agentFamily(header); got != want {
			t.Errorf("%q is %q, want %q", header, got, want)
		}
	}
	if got := deviceWords(words.English(), "firefox android"); got != "Firefox on Android" {
		t.Errorf("said as %q", got)
	}
	if got := deviceWords(words.English(), ""); got != "A browser on another system" {
		t.Errorf("what is not known is said as %q", got)
	}
}
