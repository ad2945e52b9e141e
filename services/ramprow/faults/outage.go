package faults

import (
	"maps"
	"slices"
	"strings"
	"time"
)

// need is what an outage lasts for: until a command, or a read, is answered again.
type need struct {
	seat
	reads bool
}

// outage is the time from a fault to the next answer that needs what failed.
type outage struct {
	began  time.Time
	counts time.Time // whoever was asked before this may not have felt it
	undone time.Time // when the process ran again
	ended  time.Time // of the last need
	open   map[need]bool
}

// begin opens an outage at this moment.
func (t *tally) begin(needs []need) *outage {
	o := &outage{open: map[need]bool{}}
	for _, n := range needs {
		o.open[n] = true
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	o.began = time.Now()
	t.outages = append(t.outages, o)
	return o
}

// felt says that the fault has happened: answers to what is asked from now on
// count. onlyNow says that it has happened just now, and not when it began.
func (t *tally) felt(o *outage, onlyNow bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	o.counts = time.Now()
	if onlyNow {
		o.began = o.counts
	}
}

// mended says that what had failed runs again.
func (t *tally) mended(o *outage) {
	t.mu.Lock()
	defer t.mu.Unlock()
	o.undone = time.Now()
}

// over closes an outage that everybody came out of, or that nobody waits for any more.
func (t *tally) over(o *outage) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.outages = slices.DeleteFunc(t.outages, func(one *outage) bool { return one == o })
}

// rises is how high the logs stand by what callers were told.
func (t *tally) rises() map[seat]uint64 {
	t.mu.Lock()
	defer t.mu.Unlock()
	return maps.Clone(t.newest)
}

// missing names what does not answer yet.
func (o *outage) missing() string {
	var names []string
	for n := range o.open {
		names = append(names, n.String())
	}
	slices.Sort(names)
	return strings.Join(names, ", ")
}

// lasted gives the whole time, and the part of it after the fault was undone.
func (o *outage) lasted() (whole, afterwards time.Duration) {
	if o.ended.IsZero() {
		return 0, 0
	}
	return o.ended.Sub(o.began), max(0, o.ended.Sub(o.undone))
}
