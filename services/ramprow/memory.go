package main

import (
	"math"
	"os"
	"runtime/debug"
)

const (
	// garbagePercent lets the heap grow to four times what is alive before it is
	// collected. What is alive is some tens of megabytes and a command leaves tens
	// of kilobytes behind, so at Go's usual 100 the collector would never rest.
	garbagePercent = 300
	// heapLimit makes the collector work harder near it, so that a large heap is not
	// multiplied too. It is no cap: memory that is alive may go beyond.
	heapLimit = 1 << 30
)

// spendMemory trades memory for processor time, unless GOGC or GOMEMLIMIT say
// what to do.
func spendMemory() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(garbagePercent)
	}
	if os.Getenv("GOMEMLIMIT") == "" && debug.SetMemoryLimit(-1) == math.MaxInt64 {
		debug.SetMemoryLimit(heapLimit)
	}
}
