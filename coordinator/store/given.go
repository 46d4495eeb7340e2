package store

import (
	"sync"

	"drumturn/coordinator"
)

// mostGiven bounds the rows that are remembered as they were given out.
const mostGiven = 2048

// given remembers rows that were made, or that DueDeliveries gave out, and how they
// are stored, so that one which nobody has written since need not be decoded (again)
// when it is given out or its outcome is recorded. It may forget at any time.
type given struct {
	mu   sync.Mutex
	rows map[string]givenRow // by key
}

// givenRow is a row with the octets that it is decoded from.
type givenRow struct {
	stored string
	row    coordinator.Delivery
}

// note remembers a row that stored decodes to.
func (g *given) note(stored string, d *coordinator.Delivery) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.rows == nil || len(g.rows) >= mostGiven {
		g.rows = make(map[string]givenRow)
	}
	g.rows[d.Key] = givenRow{stored, *d}
}

// look answers with the row of a key; nil when another is stored, or it is forgotten.
func (g *given) look(key, stored []byte) *coordinator.Delivery {
	g.mu.Lock()
	defer g.mu.Unlock()
	if r, ok := g.rows[string(key)]; ok && r.stored == string(stored) {
		return &r.row
	}
	return nil
}

// take forgets a row and answers with it; nil when another is stored by now.
func (g *given) take(key string, stored []byte) *coordinator.Delivery {
	g.mu.Lock()
	defer g.mu.Unlock()
	r, ok := g.rows[key]
	delete(g.rows, key)
	if !ok || r.stored != string(stored) {
		return nil
	}
	return &r.row
}
