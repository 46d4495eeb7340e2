package ui

import (
	"bytes"
	"cmp"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/queue"
)

// scene is a room as drawn for one snapshot and minute, in one language. Its parts are rendered
// once and shared by everybody who looks; only the order of rows and the marks
// of one's own differ from visitor to visitor.
type scene struct {
	snap  *coordinator.Snapshot
	now   time.Time // to the minute
	axis  axis
	id    string // orders scenes in the event stream
	views *views

	head, foot []byte
	rows       []sceneRow // in the public order
	public     []byte     // the whole board for somebody without a load or turn
	frame      []byte     // public as an event
	wall       func() []byte

	kept keptPages
}

// sceneRow is a machine's row in its two forms.
type sceneRow struct {
	machine *coordinator.MachineView
	plain   []byte
	own     func() []byte // rendered when first asked for
}

// tell says what is in the scene.
func (sc *scene) tell() teller { return sc.axis.tell }

// lang is the scene's language.
func (sc *scene) lang() *words.Language { return sc.views.lang }

// zoneOf is the zone of a room's clock.
func zoneOf(snap *coordinator.Snapshot) *time.Location { return cmp.Or(snap.Zone, time.UTC) }

// drawScene renders what all share who read the language of v.
func drawScene(v *views, snap *coordinator.Snapshot, now time.Time) *scene {
	zone := zoneOf(snap)
	sc := &scene{snap: snap, now: now, axis: newAxis(teller{now: now, zone: zone, lang: v.lang}), views: v}
	sc.id = snap.EventID() + "." + now.UTC().Format("200601021504")
	sc.head = v.fragment("board-head", boardHead(sc))
	sc.foot = v.fragment("board-foot", boardFoot(sc))
	for _, m := range inOrder(snap) {
		sc.rows = append(sc.rows, sceneRow{
			machine: m,
			plain:   v.fragment("row", machineRow(snap, sc.axis, m, false)),
			own: sync.OnceValue(func() []byte {
				return v.fragment("row", machineRow(snap, sc.axis, m, true))
			}),
		})
	}
	sc.public = sc.board(nil)
	sc.frame = event("board", sc.id, sc.public)
	sc.wall = sync.OnceValue(func() []byte { return v.fragment("wall-live", wallLive(sc)) })
	return sc
}

// board puts a visitor's board together: their turns, their machines, the rest.
// own is nil for the public one.
func (sc *scene) board(own *ownership) []byte {
	var b bytes.Buffer
	b.Write(sc.head)
	if own != nil {
		for _, r := range own.turnRows(sc) {
			b.Write(sc.views.fragment("row", r))
		}
	}
	for i := range sc.rows {
		if own.has(sc.rows[i].machine) {
			b.Write(sc.rows[i].own())
		}
	}
	for i := range sc.rows {
		if !own.has(sc.rows[i].machine) {
			b.Write(sc.rows[i].plain)
		}
	}
	b.Write(sc.foot)
	return b.Bytes()
}

// inOrder sorts machines by what helps somebody with a basket of laundry:
// free, then soonest free, then those of which nothing good can be said.
func inOrder(snap *coordinator.Snapshot) []*coordinator.MachineView {
	list := make([]*coordinator.MachineView, len(snap.Machines))
	for i := range snap.Machines {
		list[i] = &snap.Machines[i]
	}
	slices.SortStableFunc(list, func(a, b *coordinator.MachineView) int {
		if d := rank(a) - rank(b); d != 0 {
			return d
		}
		return freeAt(a).Compare(freeAt(b))
	})
	return list
}

// rank groups the statuses by how soon the machine can be used.
func rank(m *coordinator.MachineView) int {
	switch m.Status {
	case coordinator.Free:
		if m.MayHoldLoad {
			return 1
		}
		return 0
	case coordinator.Finished, coordinator.Overdue, coordinator.Held:
		return 2
	case coordinator.Running:
		if m.Until.IsZero() {
			return 4
		}
		return 3
	case coordinator.Unknown:
		return 5
	default:
		return 6
	}
}

// freeAt is when a machine is likely to be free, as far as its own state says.
func freeAt(m *coordinator.MachineView) time.Time {
	if m.Status == coordinator.Running || m.Status == coordinator.Held {
		return m.Until
	}
	return time.Time{}
}

// scenes keeps the newest scene of each room in each language that somebody
// reads, for pages and streams alike.
type scenes struct {
	house   House
	tongues tongues
	rooms   sync.Map // sceneKey -> *sceneSlot
}

type sceneKey struct {
	room coordinator.RoomID
	lang *words.Language
}

type sceneSlot struct {
	drawing sync.Mutex
	newest  atomic.Pointer[scene]
}

func newScenes(h House, t tongues) *scenes { return &scenes{house: h, tongues: t} }

// get is the scene of now; nil when there is no such room.
func (s *scenes) get(room coordinator.RoomID, l *words.Language) *scene {
	snap := s.house.Snapshot(room)
	if snap == nil {
		return nil
	}
	now := s.house.Now().Truncate(time.Minute)
	key := sceneKey{room, l}
	value, ok := s.rooms.Load(key)
	if !ok {
		value, _ = s.rooms.LoadOrStore(key, &sceneSlot{})
	}
	slot := value.(*sceneSlot)
	if sc := slot.newest.Load(); sc != nil && sc.snap == snap && sc.now.Equal(now) {
		return sc
	}
	slot.drawing.Lock()
	defer slot.drawing.Unlock()
	sc := slot.newest.Load()
	if sc != nil && sc.snap == snap && sc.now.Equal(now) {
		return sc
	}
	sc = drawScene(s.tongues[l], snap, now)
	slot.newest.Store(sc)
	return sc
}

// needs are the wishes that a room's machines can serve, in the order of a form.
func needs(snap *coordinator.Snapshot) []queue.Need {
	var out []queue.Need
	for _, n := range []queue.Need{queue.Wash, queue.Dry, queue.WashAndDry} {
		if slices.ContainsFunc(snap.Machines, func(m coordinator.MachineView) bool { return serves(m.Kind, n) }) {
			out = append(out, n)
		}
	}
	return out
}
