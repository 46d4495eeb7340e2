package coordinator

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// roomEvents has one of every event of a room, peopleEvents of the building's people.
var (
	roomEvents = []Event{
		Measured{}, Tick{}, Founded{}, Reopened{}, Join{}, Leave{}, AtClosing{}, LetNext{}, OnMyWay{}, NotNow{}, Claim{}, NotMe{}, Collect{},
		MoreTime{}, DryAfter{}, OfferShare{}, ShareLoad{}, StillInside{}, Fetched{}, Door{}, ReportFault{}, TakeOut{}, PutBack{}, ForgetLearned{},
		ByHand{}, StartByHand{}, EndByHand{}, SetRules{}, NoteWalkUp{}, HoldLonger{}, MovedOut{}, Merged{}, OpenHomes{}, LookedAfter{},
	}
	peopleEvents = []PeopleEvent{
		JoinBuilding{}, Subscribe{}, Unsubscribe{}, SetLanguage{}, SetChoices{}, Mute{}, SetInvitation{}, SetTariff{}, Forget{},
		SetMachineCode{}, OfferPass{}, UsePass{}, ReturnHome{}, InviteGuests{}, DropGuestInvitation{},
		AddHome{}, SetHomeCode{}, Block{}, MergePersons{}, MergeHomes{}, MoveOut{}, Departed{}, EndGuests{},
		AskMail{}, ConfirmMail{}, SetMailUse{}, EndMail{}, SignOut{}, SawSession{}, EndSession{}, SignOutOthers{},
		SetFirstToken{}, FirstManager{}, InviteManager{}, SeeNotices{}, DropManagerInvite{}, TakeManagerInvite{}, RenameManager{},
		ChangePassphrase{}, RemoveManager{}, SignInManager{}, AddPasskey{}, NamePasskey{}, DropPasskey{}, SuspectPasskey{},
		MakeToken{}, RevokeToken{}, UseToken{}, AddWebhook{}, RemoveWebhook{}, MoveWebhook{},
	}
)

// TestEveryEventIsOnTheLists: an event that is new must be among those that the
// random histories draw. The package's own text says which there are.
func TestEveryEventIsOnTheLists(t *testing.T) {
	listed := func(method string) []string {
		var all []string
		for _, decl := range declarations(t) {
			if f, ok := decl.(*ast.FuncDecl); ok && f.Recv != nil && f.Name.Name == method {
				all = append(all, f.Recv.List[0].Type.(*ast.Ident).Name)
			}
		}
		slices.Sort(all)
		return all
	}
	room, people := namesOf(roomEvents), namesOf(peopleEvents)
	if want := listed("roomEvent"); len(want) < 30 || !slices.Equal(room, want) {
		t.Errorf("the histories draw the room's events\n%v, there are\n%v", room, want)
	}
	if want := listed("peopleEvent"); len(want) < 45 || !slices.Equal(people, want) {
		t.Errorf("the histories draw the events of people\n%v, there are\n%v", people, want)
	}
}

// declarations are those of the package, without its tests.
func declarations(t *testing.T) (all []ast.Decl) {
	t.Helper()
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, file.Decls...)
	}
	return all
}

// namesOf are the names of the types of some events, sorted.
func namesOf[E any](events []E) (all []string) {
	for _, ev := range events {
		all = append(all, reflect.TypeOf(ev).Name())
	}
	slices.Sort(all)
	return all
}

// guesser fills events with what may be in them: ids that are known and that are
// not, times about now, texts that are right, empty, or too long.
type guesser struct {
	rt    *rapid.T
	now   time.Time
	pools map[reflect.Type][]any
	words map[string][]any // of texts, by the name of their field
}

func newGuesser(rt *rapid.T, now time.Time) *guesser {
	typed := []any{"", "a", "Ada", " ada ", "\xff", strings.Repeat("long ", 130)}
	return &guesser{rt: rt, now: now, pools: map[reflect.Type][]any{}, words: map[string][]any{"Name": typed, "Text": typed}}
}

// among lets a type be drawn from a list.
func among[V any](g *guesser, list ...V) {
	pool := make([]any, len(list))
	for i, v := range list {
		pool[i] = v
	}
	g.pools[reflect.TypeFor[V]()] = pool
}

// guessed is one of a list of events, filled.
func guessed[E any](g *guesser, list []E) E {
	ev := reflect.New(reflect.TypeOf(rapid.SampledFrom(list).Draw(g.rt, "event"))).Elem()
	g.fill(ev, "")
	return ev.Interface().(E)
}

func (g *guesser) fill(v reflect.Value, name string) {
	if v.Type() == reflect.TypeFor[time.Time]() {
		v.Set(reflect.ValueOf(g.instant(name)))
		return
	}
	pool := g.pools[v.Type()]
	if words := g.words[name]; v.Kind() == reflect.String && len(words) > 0 {
		pool = words
	}
	if len(pool) == 0 {
		g.fillPlain(v, name)
		return
	}
	v.Set(reflect.ValueOf(rapid.SampledFrom(pool).Draw(g.rt, name)).Convert(v.Type()))
}

func (g *guesser) fillPlain(v reflect.Value, name string) {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			g.fill(v.Field(i), v.Type().Field(i).Name)
		}
	case reflect.Slice:
		for range rapid.IntRange(0, 2).Draw(g.rt, name+" length") {
			item := reflect.New(v.Type().Elem()).Elem()
			g.fill(item, name)
			v.Set(reflect.Append(v, item))
		}
	case reflect.Map: // none of the histories need one
	case reflect.Bool:
		v.SetBool(rapid.Bool().Draw(g.rt, name))
	case reflect.Int, reflect.Int64:
		v.SetInt(int64(rapid.IntRange(-1, 4).Draw(g.rt, name)))
	case reflect.Uint8, reflect.Uint64:
		v.SetUint(uint64(rapid.IntRange(0, 6).Draw(g.rt, name)))
	case reflect.Float64:
		v.SetFloat(rapid.SampledFrom([]float64{0, 1, 7, 300}).Draw(g.rt, name))
	case reflect.String:
		v.SetString(rapid.SampledFrom([]string{"", "a", "b", " B "}).Draw(g.rt, name))
	default:
		g.rt.Fatalf("nothing fills a %s", v.Type())
	}
}

// instant is one about now, or none at all.
func (g *guesser) instant(name string) time.Time {
	minutes := rapid.SampledFrom([]int{30, 0, 1, -1, 600, -600, 1500, 3000, 150_000}).Draw(g.rt, name)
	if minutes == 600 && rapid.Bool().Draw(g.rt, "never") {
		return time.Time{}
	}
	return g.now.Add(time.Duration(minutes) * time.Minute)
}

// ofRoom lets ids be those of a room and of nobody in it.
func (g *guesser) ofRoom(r *Room) *guesser {
	machines := []MachineID{"", "nowhere"}
	for _, m := range r.plan.Machines {
		machines = append(machines, m.ID, m.ID)
	}
	var turns []TurnID
	for id := range r.state.LastTurn + 2 {
		turns = append(turns, id)
	}
	var loads []LoadID
	for id := range r.state.LastLoad + 2 {
		loads = append(loads, id)
	}
	among(g, machines...)
	among(g, turns[max(0, len(turns)-8):]...)
	among(g, loads[max(0, len(loads)-8):]...)
	among[PersonID](g, "anna", "ben", "cleo", "flatmate", "")
	among[HomeID](g, "home-anna", "home-ben", "home-cleo", "")
	among(g, queue.Wash, queue.Dry, queue.WashAndDry, queue.Need(0), queue.Need(9))
	among(g, anyRules(g.rt), DefaultRules(), Rules{})
	return g
}

// reading makes a reading in which the test's engines can read.
func (g *guesser) reading() cycle.Reading {
	return cycle.Power(g.instant("at"), rapid.SampledFrom([]float64{0, 1, 7.5, 11.5, 300}).Draw(g.rt, "watts"))
}

// described says which event a history was at, for whom a test fails.
func described(ev any) string { return fmt.Sprintf("%T%+v", ev, ev) }
