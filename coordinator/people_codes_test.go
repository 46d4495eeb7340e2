package coordinator

import (
	"testing"
	"time"
)

func TestMachineCodes(t *testing.T) {
	w := newTown(t)
	w.do(SetMachineCode{Room: "cellar", Machine: "w1", Code: "ABCD-2345"})
	w.do(SetMachineCode{Room: "cellar", Machine: "w2", Code: "EFGH-6789"})
	for _, c := range []struct {
		room    RoomID
		machine MachineID
		code    string
		want    bool
	}{
		{"cellar", "w1", "abcd 2345", true}, {"cellar", "w1", "EFGH-6789", false}, {"cellar", "w2", "EFGH6789", true},
		{"attic", "w1", "ABCD-2345", false}, {"cellar", "w1", "", false}, {"cellar", "w3", "", false},
	} {
		if got := w.people.AtMachine(c.room, c.machine, c.code); got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
	w.reload()
	w.do(SetMachineCode{Room: "cellar", Machine: "w1", Code: "NEW2-NEW3"})
	if w.people.AtMachine("cellar", "w1", "ABCD-2345") || !w.people.AtMachine("cellar", "w1", "new2new3") {
		t.Error("the old code still holds, or the new one does not")
	}
	w.refused(SetMachineCode{Room: "cellar", Machine: "w1", Code: "--"}, "machine.code")
	w.refused(SetMachineCode{Machine: "w1", Code: "ABCD"}, "machine.code")
	w.reload()
}

// TestPass: a one-time code holds once, until it runs out, and only the newest of a person.
func TestPass(t *testing.T) {
	w := newTown(t)
	w.joinAs("anna", "12")
	w.joinAs("ben", "13")
	offer := func(p PersonID, hash string) {
		t.Helper()
		w.do(OfferPass{Person: p, Hash: hash, Expires: w.now.Add(10 * time.Minute)})
	}
	use := func(hash, session string) UsePass {
		return UsePass{Hash: hash, SessionHash: session, Expires: w.now.Add(time.Hour)}
	}
	w.refused(OfferPass{Person: "nobody", Hash: "x"}, "person.unknown")
	offer("anna", "one")
	offer("ben", "bens")
	offer("anna", "two")
	w.refused(use("one", "s"), "pass.unknown")
	w.do(use("two", "second phone"))
	w.refused(use("two", "thief"), "pass.unknown")
	if p, ok := w.people.SessionPerson("second phone", w.now); !ok || p.ID != "anna" {
		t.Fatalf("the second phone is %q's", p.ID)
	}
	w.reload()
	w.now = w.now.Add(10 * time.Minute)
	w.refused(use("bens", "late"), "pass.unknown")
	offer("anna", "three")
	if len(w.people.Passes) != 1 {
		t.Errorf("%d codes are kept, want the one that holds", len(w.people.Passes))
	}
	w.do(Forget{Person: "anna"})
	w.refused(use("three", "ghost"), "pass.unknown")
	w.reload()
}

// TestLostPhone: the home's code brings the person back, and the old phone out.
func TestLostPhone(t *testing.T) {
	w := newTown(t)
	w.do(JoinBuilding{Room: "cellar", Code: "K7QM2XRT", HomeName: "12", Open: true, NewID: "anna", NewHomeCode: "ABCD", SessionHash: "lost", Expires: w.now.Add(time.Hour)})
	w.joinAs("ben", "13")
	w.do(Subscribe{Subscription: Subscription{ID: "d1", Person: "anna", Endpoint: "https://push.example/1"}})
	back := ReturnHome{HomeCode: "ABC", Person: "anna", SessionHash: "new", Expires: w.now.Add(time.Hour)}
	w.refused(back, "return.code")
	back.HomeCode, back.Person = "ab-cd", "ben"
	w.refused(back, "return.code")
	back.Person, back.Open = "anna", true // anybody may join home 12, and reads its code then
	w.refused(back, "return.open")
	back.Open = false
	w.do(back)
	w.do(SignOutOthers{Person: "anna", Keep: "new"})
	if _, ok := w.people.SessionPerson("lost", w.now); ok {
		t.Error("the lost phone is still signed in")
	}
	if p, ok := w.people.SessionPerson("new", w.now); !ok || p.ID != "anna" {
		t.Error("the new phone is not anna's")
	}
	if len(w.people.Devices("anna")) != 0 {
		t.Error("the lost phone is still told")
	}
	if _, ok := w.people.SessionPerson("session of ben", w.now); !ok {
		t.Error("a neighbour was signed out as well")
	}
	w.reload()
}
