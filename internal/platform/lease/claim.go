package lease

import (
	"time"
)

// claim is what a replica knows of one lease.
type claim struct {
	key      string
	holder   Holder
	revision uint64
	// since is when this revision was seen first, by the own monotonic clock. Of
	// an own entry it is when writing began: so the holder stops believing in it
	// before anybody else may take it over.
	since time.Time
	asked bool          // the store has been asked at least once
	nudge chan struct{} // holds one token when waiting has become pointless
}

// silent tells whether nobody has written for a whole ttl.
func (c *claim) silent(now time.Time, ttl time.Duration) bool { return now.Sub(c.since) >= ttl }

// free tells whether the lease may be taken, as far as is known.
func (c *claim) free(now time.Time, ttl time.Duration) bool {
	return !c.asked || c.holder.vacant() || c.silent(now, ttl)
}

// heldBy tells whether a replica may believe that it holds the lease.
func (c *claim) heldBy(id string, now time.Time, ttl time.Duration) bool {
	return c.holder.ID == id && !c.silent(now, ttl)
}

// take notes an entry as the store has it now.
func (c *claim) take(e Entry, at time.Time) {
	c.asked = true
	if e.Revision != c.revision {
		c.since = at
	}
	c.holder, c.revision = holderIn(e), e.Revision
}
