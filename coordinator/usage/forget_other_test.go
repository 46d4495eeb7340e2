//go:build !linux

package usage

import (
	"testing"
	"time"
)

// forget does nothing: there is no way to ask this system to forget a file.
func forget(testing.TB, string) {}

// cpuTime is not known here.
func cpuTime(testing.TB) time.Duration { return 0 }
