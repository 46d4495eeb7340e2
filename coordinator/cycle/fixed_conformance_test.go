package cycle

import "testing"

func TestFixedIsAnEngine(t *testing.T) {
	checkEngine(t, func(s Settings) Engine { return NewFixed(s) })
}
