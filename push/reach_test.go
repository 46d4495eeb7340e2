package push

import (
	"strings"
	"testing"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// TestTroubleInEveryLanguage: what the wall and the manager's page say of ways
// that do not work is in the reader's language, with all that it names.
func TestTroubleInEveryLanguage(t *testing.T) {
	seen := map[string]string{}
	for _, l := range words.All() {
		h := Health{Trouble: "no space left"}
		texts := map[string]string{"store": h.TroubleText(l)}
		for status, key := range map[int]string{400: "malformed", 403: "key", 402: "refused"} {
			texts[key] = Alarm{Host: "push.example", Status: status}.Text(l)
		}
		texts["mail"] = Alarm{Host: coordinator.MailHost, Error: "wrong password."}.Text(l)
		reach := ReachManagers(&coordinator.People{}, h, Ways{Mail: true}, l)
		texts["reach"], texts["wall"] = reach.Manager, reach.Everybody
		for key, text := range texts {
			if text == "" || strings.ContainsAny(text, "{}") || seen[text] != "" {
				t.Errorf("%s %s: %q (as in %s)", l.Code(), key, text, seen[text])
			}
			seen[text] = l.Code() + " " + key
		}
		for key, part := range map[string]string{"store": "no space left", "key": "403", "mail": "wrong password", "reach": "no space left", "malformed": "push.example"} {
			if !strings.Contains(texts[key], part) {
				t.Errorf("%s %s does not name %q: %q", l.Code(), key, part, texts[key])
			}
		}
	}
}
