package usage

import (
	"fmt"
	"os"
	"strings"
	"syscall"
	"testing"
	"time"
)

// forget makes the system drop what it has of a file in memory, also where this
// process has it mapped (madvise with MADV_DONTNEED, then posix_fadvise with
// POSIX_FADV_DONTNEED), so that the next reading is one from the disk.
func forget(tb testing.TB, path string) {
	tb.Helper()
	maps, err := os.ReadFile("/proc/self/maps")
	must(tb, err)
	for line := range strings.Lines(string(maps)) {
		var from, to uintptr
		if strings.HasSuffix(strings.TrimSpace(line), path) {
			_, err := fmt.Sscanf(line, "%x-%x", &from, &to)
			must(tb, err)
			advise(tb, syscall.SYS_MADVISE, from, to-from, 4)
		}
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	must(tb, err)
	must(tb, f.Sync())
	advise(tb, syscall.SYS_FADVISE64, f.Fd(), 0, 0, 4)
	must(tb, f.Close())
}

func advise(tb testing.TB, call uintptr, args ...uintptr) {
	tb.Helper()
	var a [6]uintptr
	copy(a[:], args)
	if _, _, errno := syscall.Syscall6(call, a[0], a[1], a[2], a[3], a[4], a[5]); errno != 0 {
		must(tb, errno)
	}
}

// cpuTime is how long this process has computed.
func cpuTime(tb testing.TB) time.Duration {
	tb.Helper()
	var u syscall.Rusage
	must(tb, syscall.Getrusage(syscall.RUSAGE_SELF, &u))
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
