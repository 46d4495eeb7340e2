package ui

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
)

// TestActsPage: what managers did to the building and in rooms, newest first, with
// who and about whom; what residents did is not there.
func TestActsPage(t *testing.T) {
	o := openOffice(t, nil)
	o.resident("dan", "h6")
	var failure error
	asked := map[coordinator.RoomID]string{}
	o.o.Facts = func(_ context.Context, unit coordinator.RoomID, from, to time.Time, each func(coordinator.Fact) bool) error {
		asked[unit] = from.Format(time.DateOnly) + " " + to.Format(time.DateOnly)
		if unit == "cellar" {
			each(coordinator.Fact{At: in(-60), Kind: coordinator.FactOut, Machine: "w1", Person: "ada", Note: "leaks"})
			each(coordinator.Fact{At: in(-50), Kind: coordinator.FactJoined, Person: "dan", Home: "h6", Turn: 4})
			return failure
		}
		each(coordinator.Fact{At: in(-55), Kind: coordinator.FactBlocked, Person: "ben", About: coordinator.AboutPerson("dan")})
		each(coordinator.Fact{At: in(-40), Kind: coordinator.FactMerged, Person: "zoe", About: coordinator.AboutHome("h6")})
		each(coordinator.Fact{At: in(-30), Kind: coordinator.FactErased, Person: "ben"})
		each(coordinator.Fact{At: in(-20), Kind: coordinator.FactUnblocked, Person: "ben", About: coordinator.AboutPerson("forgotten")})
		each(coordinator.Fact{At: in(-10), Kind: coordinator.FactMachineCode, Person: "ada", About: coordinator.AboutMachine("cellar", "w1")})
		return nil
	}
	page := func(query string) string {
		return get("/manager/log"+query).as("", "secret-of-ada").of(o.Server).Body.String()
	}
	all := page("")
	last := 0
	for _, want := range []string{
		"<td>Ada</td><td>Gave a machine a new code</td><td>Washer 1, Laundry room, cellar</td>",
		"<td>Ben</td><td>Allowed turns again</td><td>somebody who is gone</td>", "<td>Ben</td><td>Forgot somebody</td><td></td>",
		"<td>a former manager</td><td>Made two one</td><td>home 12</td>", "<td>Ben</td><td>Blocked new turns</td><td>somebody of home 12</td>",
		"<td>Ada</td><td>Out of service, “leaks”</td><td>Washer 1, Laundry room, cellar</td>",
	} {
		at := strings.Index(all, want)
		if at < last {
			t.Errorf("%q is at %d, after %d", want, at, last)
		}
		last = at
	}
	if strings.Contains(all, "Joined the queue") || strings.Contains(all, "Secretname") {
		t.Error("what a resident did, or their name, is in the log of managers")
	}
	day := noon.In(zone)
	if want := day.AddDate(0, 0, -6).Format(time.DateOnly) + " " + day.AddDate(0, 0, 1).Format(time.DateOnly); asked["cellar"] != want || asked[""] != want {
		t.Errorf("asked for %v, want %s", asked, want)
	}
	for query, want := range map[string][2]int{ // lines of Ada's, of Ben's
		"?who=ada": {2, 0}, "?what=people": {0, 3}, "?what=machines": {1, 0}, "?what=codes": {1, 0}, "?what=nonsense&who=nobody": {2, 3},
	} {
		got := page(query)
		if n := [2]int{strings.Count(got, "<td>Ada</td>"), strings.Count(got, "<td>Ben</td>")}; n != want {
			t.Errorf("%s shows %v, want %v", query, n, want)
		}
	}
	page("?from=2026-01-05&to=2026-02-06")
	if asked["cellar"] != "2026-01-05 2026-02-07" {
		t.Errorf("asked for %s", asked["cellar"])
	}
	for _, odd := range []string{"?from=2026-02-06&to=2026-01-05", "?from=1900-01-01&to=2026-01-05"} {
		if page(odd); asked["cellar"] != "2025-12-30 2026-01-06" {
			t.Errorf("%s asks for %s", odd, asked["cellar"])
		}
	}
	failure = errors.New("disk")
	if w := get("/manager/log").as("", "secret-of-ada").of(o.Server); w.Code != 500 {
		t.Errorf("a store that fails gives %d", w.Code)
	}
}

// TestActsOfPrograms: where a program did it, the log says which, as long as it is known.
func TestActsOfPrograms(t *testing.T) {
	o := openOffice(t, nil)
	if err := o.fakeHouse.DoPeople(t.Context(), coordinator.MakeToken{Token: coordinator.Token{Name: "Heating", Hash: strings.Repeat("a", 64), Scopes: coordinator.TokenScopes()}}); err != nil {
		t.Fatal(err)
	}
	token, _ := o.fakeHouse.People().TokenByHash(strings.Repeat("a", 64))
	o.o.Facts = func(_ context.Context, unit coordinator.RoomID, _, _ time.Time, each func(coordinator.Fact) bool) error {
		if unit == coordinator.Building {
			each(coordinator.Fact{At: in(-20), Kind: coordinator.FactHookAdded, About: coordinator.AboutToken(token.ID), Note: "hooks.example.org"})
			each(coordinator.Fact{At: in(-10), Kind: coordinator.FactHookRemoved, About: coordinator.AboutToken("revoked"), Note: "hooks.example.org"})
		}
		return nil
	}
	page := get("/manager/log").as("", "secret-of-ada").of(o.Server).Body.String()
	for _, want := range []string{"<td>the program “Heating”</td>", "<td>a program whose token was revoked</td>"} {
		if !strings.Contains(page, want) {
			t.Errorf("the log does not say %q: %s", want, page)
		}
	}
	if page := get("/manager/log?who=ada").as("", "secret-of-ada").of(o.Server).Body.String(); strings.Contains(page, "Heating") {
		t.Error("what a program did is among what a manager did")
	}
}

// TestEveryActHasItsGroup: what is chosen shows each kind in exactly one.
func TestEveryActHasItsGroup(t *testing.T) {
	for _, kind := range coordinator.ActKinds() {
		n := 0
		for _, kinds := range actGroups {
			for _, k := range kinds {
				if k == kind {
					n++
				}
			}
		}
		if n != 1 {
			t.Errorf("%s is in %d groups", kind, n)
		}
	}
}
