package cycle

import "testing"

func TestLearnedIsAnEngine(t *testing.T) {
	checkEngine(t, func(s Settings) Engine { return New(s) })
}
