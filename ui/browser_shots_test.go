package ui

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/ui/specimen"
)

// specimens serves every page in every state: the house, and below a path of its own
// the crowded one.
func specimens(t *testing.T) (address string) {
	t.Helper()
	server := httptest.NewUnstartedServer(nil)
	// Browsers have passkeys for names only, and localhost is one.
	address = strings.Replace("http://"+server.Listener.Addr().String(), "127.0.0.1", "localhost", 1)
	pages := http.NewServeMux()
	pages.Handle("/", specimensOf(t, specimen.NewHouse(hashSecret), address).Handler())
	pages.Handle(specimen.Crowd+"/", specimensOf(t, specimen.NewCrowd(hashSecret), address+specimen.Crowd).Handler())
	server.Config.Handler = pages
	server.Start()
	t.Cleanup(func() {
		server.CloseClientConnections()
		server.Close()
	})
	return address
}

// specimensOf is the server of a house that stands still.
func specimensOf(t *testing.T, h *specimen.House, address string) *Server {
	t.Helper()
	return newTestServer(t, h, func(o *Options) {
		o.Letters, o.Past, o.Report = specimen.Letters{}, specimen.Past{}, specimen.Report
		o.Worn, o.Capacity = specimen.Worn{}, specimen.Worn{}.Capacity
		o.Reports, o.StoredReport = specimen.Reports, specimen.StoredReport
		o.Facts = specimen.Past{}.Facts
		o.PublicURL = address
	})
}

// show opens a state as who is to look at it, on a screen of its size.
func (b *browser) show(t *testing.T, address string, s specimen.State, scheme string) {
	t.Helper()
	b.become(t, address, s, scheme)
	b.do(t, chromedp.Navigate(address+s.Path), chromedp.WaitVisible(chromedp.CSS("main"))) // a plain string would find texts as well, such as "remaining"
	if s.Press != "" {
		b.do(t, chromedp.Evaluate[chromedp.Void]("window.before = true; undefined"), chromedp.Click(s.Press))
		b.until(t, afterForm)
	}
}

// afterForm is true of the page behind a form.
const afterForm = "!window.before && document.querySelector('main') !== null && document.readyState === 'complete'"

// become takes the screen and the cookies of who is to look at a state.
func (b *browser) become(t *testing.T, address string, s specimen.State, scheme string) {
	t.Helper()
	if s.Wall {
		b.media(t, 1920, 1080, scheme)
	} else {
		b.media(t, 390, 844, scheme)
	}
	who := map[string]coordinator.PersonID{"__Host-drumturn": "nobody", "__Host-drumturn-manager": "nobody", "__Host-drumturn-wall": "nobody"}
	switch {
	case s.Managed():
		who["__Host-drumturn-manager"] = s.Who
	case s.Wall:
		who["__Host-drumturn-wall"] = s.Who
	default:
		who["__Host-drumturn"] = s.Who
	}
	for name, id := range who {
		b.cookie(t, address, name, specimen.Secret(id))
	}
}

// otherSizes are states that are looked at on another screen as well: a small
// old tablet on the wall, a desk.
var otherSizes = map[string][][2]int64{
	"wall": {tablet}, "wall-on-way": {tablet}, "wall-quiet": {tablet}, "wall-shut": {tablet}, "wall-touch": {tablet}, "wall-touch-home": {tablet}, "wall-touch-word": {tablet},
	"room-free": {upright, desk}, "room-waiting": {upright, desk}, "room-called": {desk}, "room-scanned": {upright}, "machine-own": {desk}, "notices": {desk},
	"manager": {desk}, "manager-rules": {desk}, "manager-rules-look": {upright}, "manager-wear-drift": {desk}, "manager-enough": {upright}, "manager-tariff": {desk},
}

var tablet, upright, desk = [2]int64{1024, 600}, [2]int64{820, 1180}, [2]int64{1440, 900}

// sizesOf are the other screens of a state: every page on all, when
// DRUMTURN_SHOTS_SIZES=all.
func sizesOf(s specimen.State) [][2]int64 {
	if os.Getenv("DRUMTURN_SHOTS_SIZES") == "all" && !s.Wall {
		return [][2]int64{upright, desk}
	}
	return otherSizes[s.Name]
}

// TestScreenshots makes the set of pictures, phone and wall, light and dark,
// when DRUMTURN_SHOTS names a folder (in the language of DRUMTURN_SHOTS_IN), and
// the README's when DRUMTURN_SCREENSHOT=1.
func TestScreenshots(t *testing.T) {
	folder, readme := os.Getenv("DRUMTURN_SHOTS"), os.Getenv("DRUMTURN_SCREENSHOT") == "1"
	if folder == "" && !readme {
		t.Skip("set DRUMTURN_SHOTS to a folder, or DRUMTURN_SCREENSHOT=1 for the README's picture")
	}
	address := specimens(t)
	b := openBrowser(t)
	take := func(file string, whole bool) {
		picture := chromedp.CaptureScreenshot()
		// What fits the screen is taken as it is: beyond it, the browser moves pages in Arabic aside.
		if whole && b.value(t, "String(document.documentElement.scrollHeight > innerHeight)") == "true" {
			picture = chromedp.FullScreenshot(100)
		}
		data, err := chromedp.Run(b.ctx, picture)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	lang := words.For(os.Getenv("DRUMTURN_SHOTS_IN"))
	only := regexp.MustCompile(os.Getenv("DRUMTURN_SHOTS_OF")) // some of the states
	for _, s := range specimen.States() {
		if !only.MatchString(s.Name) {
			continue
		}
		if readme && s.Name == "room-waiting" {
			b.show(t, address, s, "light")
			take(filepath.Join("static", "room.png"), false)
		}
		for _, scheme := range []string{"light", "dark"} {
			if folder != "" {
				b.look(t, address, s, lang, scheme)
				take(filepath.Join(folder, s.Name+"-"+scheme+".png"), !s.Wall)
				for _, size := range sizesOf(s) {
					b.media(t, size[0], size[1], scheme)
					take(filepath.Join(folder, fmt.Sprintf("%s-%d-%s.png", s.Name, size[0], scheme)), !s.Wall)
				}
			}
		}
	}
}
