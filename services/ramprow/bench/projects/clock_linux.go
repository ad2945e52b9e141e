package projects

import (
	"runtime"
	"syscall"
	"time"
)

// threadOnly asks for the time of the calling thread (getrusage(2)).
const threadOnly = 1

// coreClock gives a clock that counts only the time in which a core worked for this
// goroutine, so that other work on the machine does not count. It stays on its thread
// until released.
func coreClock() (spent func() time.Duration, release func()) {
	runtime.LockOSThread()
	used := func() time.Duration {
		var u syscall.Rusage
		if syscall.Getrusage(threadOnly, &u) != nil {
			return 0
		}
		return time.Duration(u.Utime.Nano() + u.Stime.Nano())
	}
	began := used()
	return func() time.Duration { return used() - began }, runtime.UnlockOSThread
}
