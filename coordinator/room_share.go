package coordinator

import (
	"slices"
	"time"
)

// Two homes may wash in one load: its owner invites a neighbour by a one-time
// code. The load counts for the owner's limits alone; both are told when it is
// done, and either may collect it.

// Sharer is somebody of another home with laundry in a load.
type Sharer struct {
	Person PersonID
	Home   HomeID
}

// mostSharers is how many neighbours may share one load.
const mostSharers = 3

// SharedWith reports whether a person, or somebody of their home, has laundry in
// the load of somebody else.
func (l *Load) SharedWith(person PersonID, home HomeID) bool {
	return slices.ContainsFunc(l.Shared, func(s Sharer) bool { return s.Person == person || home != "" && s.Home == home })
}

// offerShare lets the owner of the load in machine i invite a neighbour. A new
// offer takes the place of one that nobody took.
func (r *Room) offerShare(i int, e OfferShare) error {
	l := r.load(r.state.Machines[i].Load)
	switch {
	case l == nil || !l.mine(e.Person, e.Home):
		return Refuse(NotFound, "share.none", "No load of yours is in this machine.")
	case e.Hash == "":
		return Refuse(Invalid, "share.code", "The offer has no code.")
	case len(l.Shared) >= mostSharers:
		return Refuse(OverLimit, "share.full", "This load is shared with {n} neighbours already.", "n", mostSharers)
	}
	l.ShareHash = e.Hash
	r.reply.Load = l.ID
	r.touch()
	return nil
}

// shareLoad takes an offer, which holds once.
func (r *Room) shareLoad(e ShareLoad) error {
	k := slices.IndexFunc(r.state.Loads, func(l Load) bool { return e.Hash != "" && l.ShareHash == e.Hash })
	switch {
	case e.Person == "" || e.Home == "":
		return Refuse(NotAllowed, "share.stranger", "Only residents can share a load.")
	case k < 0:
		return Refuse(NotFound, "share.wrong", "No load is offered with this code. It holds once: ask your neighbour for a new one.")
	case r.state.Loads[k].mine(e.Person, e.Home):
		return Refuse(Conflict, "share.own", "This is your home's own load.")
	}
	l := &r.state.Loads[k]
	l.ShareHash = ""
	if !l.SharedWith(e.Person, e.Home) {
		// Snapshots share the old list.
		l.Shared = append(slices.Clone(l.Shared), Sharer{e.Person, e.Home})
	}
	r.reply.Load = l.ID
	r.fact(Fact{Kind: FactShared, Machine: l.Machine, Person: e.Person, Home: e.Home, Load: l.ID})
	if i := r.index(l.Machine); i >= 0 && l.Ready() {
		r.tellReadyTo(i, l, e.Person, r.state.Now)
	}
	return nil
}

// tellOthers tells whoever has laundry in a load that somebody else emptied machine i.
func (r *Room) tellOthers(i int, l *Load, by PersonID, kind NoticeKind) {
	for _, s := range append([]Sharer{{l.Owner, l.Home}}, l.Shared...) {
		if s.Person == "" || s.Person == by {
			continue
		}
		r.tell(i, Notice{
			Subject: Subject{Load: l.ID}, Kind: kind, Step: r.again(), To: s.Person,
			ReadyAt: l.ReadyAt, UsefulUntil: r.state.Now.Add(12 * time.Hour),
		})
	}
}

// unshare takes those whom gone names out of a load.
func (l *Load) unshare(gone func(PersonID, HomeID) bool) {
	kept := slices.DeleteFunc(slices.Clone(l.Shared), func(s Sharer) bool { return gone(s.Person, s.Home) })
	if l.Shared = kept; len(kept) == 0 {
		l.Shared = nil
	}
}
