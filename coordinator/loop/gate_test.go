package loop

import (
	"testing"
	"testing/synctest"

	"drumturn/coordinator"
)

// gate holds up the commits of a store, as a slow disk would.
type gate struct {
	t    *testing.T
	held chan struct{} // closed once a commit has come to the gate
	open chan struct{}
	shut chan struct{} // holds a value while the next commit is to be held up
}

// newGate puts a gate, which stands open, before a store.
func newGate(t *testing.T, store *fakeStore) *gate {
	g := &gate{t: t, shut: make(chan struct{}, 1)}
	store.enter = func([]coordinator.ChangeSet) {
		select {
		case <-g.shut:
			close(g.held)
			<-g.open
		default:
		}
	}
	return g
}

// busy runs fn while a commit that cause brings about is held up; then it lets
// the commit go and waits for everybody.
func (g *gate) busy(cause, fn func()) {
	g.t.Helper()
	g.held, g.open = make(chan struct{}), make(chan struct{})
	g.shut <- struct{}{}
	go cause()
	<-g.held
	fn()
	synctest.Wait()
	close(g.open)
	synctest.Wait()
}
