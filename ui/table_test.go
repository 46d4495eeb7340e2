package ui

import (
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
)

// TestTableIsOneHand: what was forgotten on the table needs one hand of the manager,
// however many loads lie there, and none as long as nothing was forgotten.
func TestTableIsOneHand(t *testing.T) {
	at := noon.Add(-30 * time.Hour)
	fresh := coordinator.TableLoad{Load: 9, Machine: "w1", At: noon}
	old := func(id coordinator.LoadID) coordinator.TableLoad {
		return coordinator.TableLoad{Load: id, Machine: "w1", At: at.Add(time.Duration(id) * time.Hour), Forgotten: true}
	}
	for name, c := range map[string]struct {
		table []coordinator.TableLoad
		do    string
		says  string
	}{
		"empty":       {nil, "", ""},
		"fresh only":  {[]coordinator.TableLoad{fresh}, "", ""},
		"one":         {[]coordinator.TableLoad{old(3), fresh}, "3", "A load from it lies on the table"},
		"three, old":  {[]coordinator.TableLoad{old(1), old(2), old(3), fresh}, "forgotten", "3 loads lie on the table"},
		"two and old": {[]coordinator.TableLoad{old(1), old(2)}, "forgotten", "2 loads lie on the table"},
	} {
		list := tableHand(testScene(t, &coordinator.Snapshot{Room: "cellar", Name: "Cellar", Table: c.table}))
		if c.do == "" {
			if len(list) != 0 {
				t.Errorf("%s: %+v", name, list)
			}
			continue
		}
		if len(list) != 1 || list[0].Do != c.do || !strings.HasPrefix(list[0].What, c.says) || list[0].Button == "" {
			t.Errorf("%s: %+v", name, list)
		}
	}
}
