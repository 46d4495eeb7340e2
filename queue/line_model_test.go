package queue

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// lineModel is the queue for one washer as a list of numbers, in the order in which
// they are to be called: what the line must do, without its means.
type lineModel struct {
	line   Line
	order  []TurnID
	misses map[TurnID]int
	called TurnID
	barred map[TurnID]bool // missed, and nobody was called since
	last   TurnID
}

// back moves a turn one place back, or leaves it when it is the last.
func (m *lineModel) back(id TurnID) bool {
	i := slices.Index(m.order, id)
	if i+1 >= len(m.order) {
		return false
	}
	m.order[i], m.order[i+1] = m.order[i+1], m.order[i]
	return true
}

func (m *lineModel) join() {
	m.last++
	m.line = append(m.line, Turn{ID: m.last, Home: HomeID(rune('a' + m.last)), Need: Wash, State: Waiting, Joined: noon})
	m.order = append(m.order, m.last)
}

// call calls the next: the first in the order that is not barred.
func (m *lineModel) call(t *rapid.T) {
	if m.called != 0 {
		return
	}
	want := slices.IndexFunc(m.order, func(id TurnID) bool { return !m.barred[id] })
	got := m.line.Next(washer, plainHouse(), noon)
	if (got < 0) != (want < 0) || got >= 0 && m.line[got].ID != m.order[want] {
		t.Fatalf("the next of %v is at %d of %v, want %d", m.order, got, ids(m.line), want)
	}
	if got >= 0 {
		m.called = m.order[want]
		m.line.Call(got, "1", noon, time.Minute)
		clear(m.barred)
	}
}

func (m *lineModel) miss() {
	if m.called == 0 {
		return
	}
	id := m.called
	m.called = 0
	m.misses[id]++
	m.line.Miss(m.line.Index(id), noon.Add(time.Hour))
	if m.misses[id] == 2 {
		m.line = slices.Delete(m.line, m.line.Index(id), m.line.Index(id)+1)
		m.order = slices.DeleteFunc(m.order, func(x TurnID) bool { return x == id })
		return
	}
	m.barred[id] = true
	m.back(id)
}

// ahead are those that wait before a turn.
func (m *lineModel) ahead(id TurnID) []TurnID {
	before := slices.Clone(m.order[:slices.Index(m.order, id)])
	return slices.DeleteFunc(before, func(x TurnID) bool { return x == m.called })
}

// letNext gives the machine to the next one that may go: one before the called turn,
// which had missed a call, without a place lost; else the one behind it.
func (m *lineModel) letNext(t *rapid.T) {
	if m.called == 0 {
		return
	}
	can := len(m.order) > 1 // a call has let everybody go again
	if m.line.LetNext(m.line.Index(m.called), washer, plainHouse(), noon) != can {
		t.Fatalf("letting the next go says %v of %v", !can, m.order)
	}
	if can {
		if len(m.ahead(m.called)) == 0 {
			m.back(m.called)
		}
		m.called = 0
	}
}

// TestLineAgainstModel: first come first served, a first miss costs one place
// and bars the turn until another is called, a second ends it, and letting the
// next go costs one place and nothing else.
func TestLineAgainstModel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := &lineModel{misses: map[TurnID]int{}, barred: map[TurnID]bool{}}
		t.Repeat(map[string]func(*rapid.T){
			"join":     func(*rapid.T) { m.join() },
			"call":     m.call,
			"miss":     func(*rapid.T) { m.miss() },
			"let next": m.letNext,
			"return": func(*rapid.T) {
				if m.called != 0 {
					m.line.Release(m.line.Index(m.called))
					m.order = slices.DeleteFunc(m.order, func(x TurnID) bool { return x == m.called })
					m.order = slices.Insert(m.order, 0, m.called)
					m.called = 0
				}
			},
			"": func(t *rapid.T) {
				for i := range m.line {
					if want := 1 + len(m.ahead(m.line[i].ID)); m.line[i].State == Waiting && m.line.Place(i) != want {
						t.Fatalf("turn %d of %v has place %d, want %d", m.line[i].ID, m.order, m.line.Place(i), want)
					}
				}
			},
		})
	})
}

func BenchmarkNext(b *testing.B) {
	for _, n := range []int{1, 20, 200} {
		b.Run(fmt.Sprintf("turns=%d", n), func(b *testing.B) {
			line, house := make(Line, n), plainHouse()
			for i := range line {
				line[i] = Turn{ID: TurnID(i + 1), Need: Wash, State: Waiting, NotBefore: noon.Add(time.Hour)}
			}
			b.ReportAllocs()
			for b.Loop() {
				line.Next(washer, house, noon)
			}
		})
	}
}
