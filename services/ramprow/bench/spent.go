package bench

import (
	"runtime"
	"syscall"
	"time"
)

// Spent is what this process has used: all of it, so callers, servers, read
// models, and the broker where it is embedded.
type Spent struct {
	Bytes   uint64        // put on the heap, whatever was freed since
	Objects uint64        // put on the heap
	CPU     time.Duration // of all processors, the system's work for this process included
}

// spentSoFar stops the program for some microseconds, so it stands before and
// after what is measured and never within.
func spentSoFar() Spent {
	var memory runtime.MemStats
	runtime.ReadMemStats(&memory)
	var usage syscall.Rusage
	_ = syscall.Getrusage(syscall.RUSAGE_SELF, &usage) // it cannot fail for the process itself
	return Spent{
		Bytes: memory.TotalAlloc, Objects: memory.Mallocs,
		CPU: time.Duration(usage.Utime.Nano() + usage.Stime.Nano()),
	}
}

func (s Spent) since(before Spent) Spent {
	return Spent{Bytes: s.Bytes - before.Bytes, Objects: s.Objects - before.Objects, CPU: s.CPU - before.CPU}
}
