package meter

import (
	"fmt"
	"maps"
	"slices"
	"sync"
)

// Registry keeps things by name and refuses a second one of the same name. The
// zero value is empty and ready; it may be used by many goroutines.
type Registry[T any] struct {
	mu     sync.RWMutex
	byName map[string]T
}

// Register adds v, or says that the name is empty or taken.
func (r *Registry[T]) Register(name string, v T) error {
	if name == "" {
		return fmt.Errorf("a driver needs a name")
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if _, taken := r.byName[name]; taken {
		return fmt.Errorf("the name %q is taken: each name can be used once", name)
	}
	if r.byName == nil {
		r.byName = map[string]T{}
	}
	r.byName[name] = v
	return nil
}

// Get finds what was registered under name; the error lists the names there are.
func (r *Registry[T]) Get(name string) (T, error) {
	r.mu.RLock()
	v, ok := r.byName[name]
	r.mu.RUnlock()
	if !ok {
		return v, fmt.Errorf("there is no %q; there are %q", name, r.Names())
	}
	return v, nil
}

// Names lists the names, sorted.
func (r *Registry[T]) Names() []string {
	r.mu.RLock()
	defer r.mu.RUnlock()
	return slices.Sorted(maps.Keys(r.byName))
}
