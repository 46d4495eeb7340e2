package hooks

import (
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
)

// ids are the ids of what was posted, in order.
func ids(got []received) string {
	var out []string
	for _, g := range got {
		out = append(out, string(g.event.Room)+" "+g.id[strings.Index(g.id, "-")+1:])
	}
	return strings.Join(out, ", ")
}

// TestPostsWhatHappens: each event once, in order, with a signature that holds,
// and nothing of persons, homes, turns, loads, or of what somebody typed.
func TestPostsWhatHappens(t *testing.T) {
	bubble(t, func(w *world) {
		w.happens("cellar", coordinator.FactCycle) // before there was a webhook
		time.Sleep(time.Minute)
		w.hook("h1", "https://one.example/laundry")
		w.hook("h2", "https://two.example/", coordinator.FactFault)
		defer w.start()()
		time.Sleep(time.Second)
		w.happens("cellar", coordinator.FactJoined, coordinator.FactNudged, coordinator.FactFault)
		time.Sleep(time.Second)
		w.happens("attic", coordinator.FactOut)
		synctest.Wait()
		one, two := w.all("one.example"), w.all("two.example")
		if got := ids(one); got != "cellar 2, cellar 4, attic 1" {
			t.Errorf("the first was told of %s", got)
		}
		if got := ids(two); got != "cellar 4" {
			t.Errorf("the second was told of %s", got)
		}
		for _, g := range one {
			if g.signature != Sign("drumturn_hook_test", g.at, g.body) || g.moment != fmt.Sprint(g.at.Unix()) || g.event.ID != g.id {
				t.Errorf("%+v", g)
			}
			for _, secret := range []string{"p-anna", "h-secret", "typed"} {
				if strings.Contains(string(g.body), secret) && g.event.Kind != coordinator.FactJoined {
					t.Errorf("%s holds %q", g.body, secret)
				}
			}
		}
		st := w.state("h1")
		if len(st.Calls) != 3 || st.Calls[0].Kind != coordinator.FactOut || st.Calls[0].Outcome != coordinator.HookTaken || st.Calls[0].Status != 200 || st.Fails != 0 {
			t.Errorf("%+v", st)
		}
	})
}

// TestTriesAgain: the wait doubles; later events wait behind the one that fails,
// and come in order; another webhook waits for nobody.
func TestTriesAgain(t *testing.T) {
	bubble(t, func(w *world) {
		w.hook("h1", "https://one.example/")
		w.hook("h2", "https://two.example/")
		fails := 0
		w.answer = func(g *received) (int, error) {
			if g.host == "two.example" {
				return 204, nil
			}
			if fails++; fails <= 4 {
				return map[int]int{1: 500, 2: 404, 3: 302}[fails], map[int]error{4: errNoRoute}[fails]
			}
			return 200, nil
		}
		defer w.start()()
		start := time.Now().Add(time.Second)
		time.Sleep(time.Second)
		w.happens("cellar", coordinator.FactFault, coordinator.FactOut)
		synctest.Wait()
		if got := ids(w.all("two.example")); got != "cellar 1, cellar 2" {
			t.Errorf("the other one: %s", got)
		}
		if st := w.state("h1"); len(st.Calls) != 1 || st.Calls[0].Outcome != coordinator.HookAgain || st.Calls[0].Status != 500 {
			t.Errorf("after a failure: %+v", st)
		}
		time.Sleep(time.Hour)
		got := w.all("one.example")
		if ids(got) != "cellar 1, cellar 1, cellar 1, cellar 1, cellar 1, cellar 2" {
			t.Fatalf("%s", ids(got))
		}
		for i, least := range []time.Duration{0, 10 * time.Second, 20 * time.Second, 60 * time.Second, 80 * time.Second} {
			since := start
			if i > 0 {
				since = got[i-1].at
			}
			if wait := got[i].at.Sub(since); wait < least || wait > least+least/4+time.Second {
				t.Errorf("try %d after %v, want %v", i+1, wait, least)
			}
		}
		st := w.state("h1")
		if len(st.Calls) != 2 || st.Calls[1].Tries != 5 || st.Calls[1].Outcome != coordinator.HookTaken || st.Fails != 0 {
			t.Errorf("%+v", st.Calls)
		}
	})
}

// TestGivesUp: what is a day old is of no use; what is newer is still told.
func TestGivesUp(t *testing.T) {
	bubble(t, func(w *world) {
		w.hook("h1", "https://one.example/")
		var alive atomic.Bool
		w.answer = func(*received) (int, error) {
			if !alive.Load() {
				return 0, errNoRoute
			}
			return 200, nil
		}
		defer w.start()()
		w.happens("cellar", coordinator.FactFault)
		time.Sleep(23 * time.Hour)
		w.happens("cellar", coordinator.FactOut)
		time.Sleep(3 * time.Hour)
		if st := w.state("h1"); len(st.Calls) != 2 || st.Calls[1].Outcome != coordinator.HookGivenUp || st.Calls[1].Kind != coordinator.FactFault {
			t.Fatalf("%+v", st.Calls)
		}
		alive.Store(true)
		time.Sleep(2 * time.Hour)
		if st := w.state("h1"); st.Calls[0].Outcome != coordinator.HookTaken || st.Calls[0].Kind != coordinator.FactOut {
			t.Errorf("%+v", st.Calls)
		}
		if n := len(w.all("one.example")); n > 60 {
			t.Errorf("%d tries in a day", n)
		}
	})
}

// TestGoneForGood: 410 ends a webhook.
func TestGoneForGood(t *testing.T) {
	bubble(t, func(w *world) {
		w.hook("h1", "https://one.example/")
		w.answer = func(*received) (int, error) { return 410, nil }
		defer w.start()()
		w.happens("cellar", coordinator.FactFault)
		time.Sleep(time.Hour)
		w.happens("cellar", coordinator.FactFault)
		time.Sleep(time.Hour)
		if st := w.state("h1"); len(w.all("one.example")) != 1 || !st.Ended || st.Calls[0].Outcome != coordinator.HookEnded {
			t.Errorf("%d posts, %+v", len(w.all("one.example")), st)
		}
	})
}

// TestStalledReceiver holds up nobody but itself, and is given up on in time.
func TestStalledReceiver(t *testing.T) {
	bubble(t, func(w *world) {
		w.hook("h1", "https://slow.example/")
		w.hook("h2", "https://two.example/")
		w.answer = func(g *received) (int, error) {
			if g.host == "slow.example" && g.try == 1 {
				return 0, nil
			}
			return 200, nil
		}
		defer w.start()()
		start := time.Now()
		w.happens("cellar", coordinator.FactFault)
		synctest.Wait()
		if n := len(w.all("two.example")); n != 1 {
			t.Errorf("the other one was told %d times", n)
		}
		w.happens("cellar", coordinator.FactOut) // while it is under way
		time.Sleep(time.Hour)
		got := w.all("slow.example")
		if ids(got) != "cellar 1, cellar 1, cellar 2, cellar 2" || got[1].at.Sub(start) < sendWithin+firstRetry || got[1].at.Sub(start) > sendWithin+firstRetry*5/4+time.Second {
			t.Errorf("%s, %v", ids(got), got[1].at.Sub(start))
		}
	})
}

// TestAHostRests: after three failures in a row no webhook of that host is tried for a minute.
func TestAHostRests(t *testing.T) {
	bubble(t, func(w *world) {
		for i := range 6 {
			w.hook(fmt.Sprint("h", i), fmt.Sprintf("https://one.example/%d", i))
		}
		w.answer = func(*received) (int, error) { return 503, nil }
		defer w.start()()
		w.happens("cellar", coordinator.FactFault)
		synctest.Wait()
		first := len(w.all("one.example"))
		time.Sleep(hostRest - time.Second)
		if n := len(w.all("one.example")); first < 3 || first > 6 || n != first {
			t.Errorf("%d at once, %d within the rest", first, n)
		}
		time.Sleep(time.Hour)
		if n := len(w.all("one.example")); n < 2*first {
			t.Errorf("%d in an hour", n)
		}
	})
}

// TestStoppedAtAnyInstant: another worker goes on where the last one was; only
// what was not noted is posted twice, under the same id.
func TestStoppedAtAnyInstant(t *testing.T) {
	bubble(t, func(w *world) {
		w.hook("h1", "https://one.example/")
		stop := w.start()
		w.happens("cellar", coordinator.FactFault, coordinator.FactOut)
		synctest.Wait()
		w.mu.Lock()
		w.refuse = errNoRoute // killed between the post and its note
		w.mu.Unlock()
		w.happens("cellar", coordinator.FactBack)
		synctest.Wait()
		stop()
		w.happens("cellar", coordinator.FactSilent) // while it is down
		w.mu.Lock()
		w.refuse = nil
		w.mu.Unlock()
		defer w.start()()
		time.Sleep(time.Minute)
		if got := ids(w.all("one.example")); got != "cellar 1, cellar 2, cellar 3, cellar 3, cellar 4" {
			t.Errorf("%s", got)
		}
	})
}

// TestTroubleWithTheStore ends, and what happened meanwhile is told.
func TestTroubleWithTheStore(t *testing.T) {
	bubble(t, func(w *world) {
		w.hook("h1", "https://one.example/")
		w.broken = errNoRoute
		defer w.start()()
		w.happens("cellar", coordinator.FactFault)
		time.Sleep(5 * time.Minute)
		w.mu.Lock()
		reads := w.reads
		w.broken = nil
		w.mu.Unlock()
		if reads > 40 {
			t.Errorf("read %d times in five minutes", reads)
		}
		time.Sleep(time.Minute)
		if got := ids(w.all("one.example")); got != "cellar 1" {
			t.Errorf("%q", got)
		}
	})
}

// TestWhatIsNotWantedIsReadOnce: a webhook that wants little does not read the
// whole history for each thing that happens.
func TestWhatIsNotWantedIsReadOnce(t *testing.T) {
	bubble(t, func(w *world) {
		w.hook("h1", "https://one.example/", coordinator.FactFault)
		defer w.start()()
		for range 10 {
			many := make([]coordinator.FactKind, 3*pageOfFacts)
			for i := range many {
				many[i] = coordinator.FactCycle
			}
			w.happens("cellar", many...)
			time.Sleep(time.Second)
		}
		w.mu.Lock()
		reads := w.reads
		w.mu.Unlock()
		if reads > 120 {
			t.Errorf("%d reads", reads)
		}
		w.happens("cellar", coordinator.FactFault)
		time.Sleep(time.Second)
		if n := len(w.all("one.example")); n != 1 {
			t.Errorf("told %d times", n)
		}
	})
}
