package ui

import (
	"strings"
	"testing"

	"drumturn/push/words"
	"drumturn/ui/specimen"
)

// wallParts says what is wrong with a screen: what is cut off, what lies on
// something else, a way in that is not written, a third left empty.
const wallParts = `(() => {
	const wrong = [], box = (s) => [...document.querySelectorAll(s)].filter((e) => e.checkVisibility()).map((e) => [s, e.getBoundingClientRect()]);
	const all = ['.queue', '.silent', '.wall-touch', '.wall-join', '.no-way', '.rows', '.called', '.wall-clock', '.wall-side img'].flatMap(box);
	for (const [s, r] of all) if (r.bottom > innerHeight || r.right > innerWidth + 1 || r.left < 0) wrong.push(s + ' is cut off');
	for (const [s, a] of all) for (const [t, b] of all) if (s < t &&
		Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1 && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 1) wrong.push(s + ' lies on ' + t);
	const join = document.querySelector('.wall-join');
	if (!join?.checkVisibility() || !join.innerText.includes('/r/')) wrong.push('the address is not written');
	const end = document.querySelector('.queue').getBoundingClientRect().bottom;
	if (end < innerHeight * 0.7) wrong.push('empty below ' + Math.round(100 * end / innerHeight) + ' %');
	return wrong.join('; ');
})()`

// TestWallFits: at three metres and on a small old tablet, with two machines as
// with eight, in a longer language too, all is there and nothing on top of another.
func TestWallFits(t *testing.T) {
	if testing.Short() {
		t.Skip("every screen in every size takes a while")
	}
	address := specimens(t)
	b := openBrowser(t)
	for _, s := range specimen.States() {
		if !strings.HasPrefix(s.Name, "wall") || strings.HasPrefix(s.Name, "wall-touch") {
			continue
		}
		for _, lang := range []string{"en", "de", "ar"} {
			b.look(t, address, s, words.Exactly(lang), "light")
			for _, size := range [][2]int64{{1920, 1080}, tablet} {
				b.media(t, size[0], size[1], "light")
				if got := b.value(t, wallParts); got != "" {
					t.Errorf("%s, %s, %d: %s", s.Name, lang, size[0], got)
				}
			}
		}
	}
}
