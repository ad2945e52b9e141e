package traces

import "time"

// Limits bound a store. Zero values mean the defaults.
type Limits struct {
	// Bytes that all spans may take; half of them are for traces of note.
	Bytes int64
	// Age after which a trace is gone, whatever it holds.
	Age time.Duration
	// Slow is how long a span takes that makes its trace one of note.
	Slow time.Duration
	// Spans that one trace may have; later ones are counted and not kept.
	Spans int
}

// The defaults: some fifty thousand traces of a call with its effects.
const (
	DefaultBytes = 64 << 20
	DefaultAge   = 14 * 24 * time.Hour
	DefaultSlow  = time.Second
	DefaultSpans = 1000
)

func (l Limits) complete() Limits {
	if l.Bytes <= 0 {
		l.Bytes = DefaultBytes
	}
	if l.Age <= 0 {
		l.Age = DefaultAge
	}
	if l.Slow <= 0 {
		l.Slow = DefaultSlow
	}
	if l.Spans <= 0 {
		l.Spans = DefaultSpans
	}
	return l
}

// What one span may hold. Longer texts are cut, further entries left out: a span
// is worth having without its tail.
const (
	maxName       = 200 // bytes of a span's or an event's name
	maxText       = 500 // bytes of a value
	maxError      = 1000
	maxAttributes = 32
	maxEvents     = 32
	maxAbout      = 8 // names that one span is about
	maxTags       = 64
)
