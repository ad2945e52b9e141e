package inventory

import (
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// One firing deals with so many holds of a kind at most, so that its commit stays
// small, and the next follows after a pause.
const (
	holdsAtOnce = 50
	firingPause = time.Second
)

// due gives the time at which the next unused hold ends, or the next short hold
// still is short on the day on which it should not be, or what is settled may leave.
func due(st *State) (time.Time, bool) {
	at, pending := st.expiresOrArrives()
	leaves, leave := st.shelves.due()
	if leave && (!pending || leaves.Before(at)) {
		return leaves, true
	}
	return at, pending
}

func (st *State) expiresOrArrives() (time.Time, bool) {
	expiry, expires := paced(st.expiries, st.lastExpiry)
	arrival, arrives := paced(st.arrivals, st.lastShort)
	if !expires || arrives && arrival.Before(expiry) {
		return arrival, arrives
	}
	return expiry, expires
}

// paced is the first of some deadlines, but not before a pause after the last
// firing: what one firing left over is due then.
func paced(deadlines ordered[deadline], last time.Time) (at time.Time, pending bool) {
	if len(deadlines.items) == 0 {
		return time.Time{}, false
	}
	at = deadlines.items[0].at
	if next := last.Add(firingPause); next.After(at) {
		at = next
	}
	return at, true
}

// fire releases the holds whose time is over, and dates anew what has not come.
func fire(st *State, in sitelog.Input) ([]proto.Message, error) {
	d := newDraft(st, in)
	for _, e := range overdue(st.expiries, st.lastExpiry, in.Now) {
		d.release(ending{job: e.job, state: inventoryv1.HoldState_HOLD_STATE_EXPIRED, reason: "nothing of it was used in time"})
	}
	for _, e := range overdue(st.arrivals, st.lastShort, in.Now) {
		for _, l := range d.hold(e.job).GetLines() {
			if lacking(l) > 0 {
				d.touch(l.GetPart())
			}
		}
	}
	archived, err := st.archiveRipe(in.Now)
	return append(d.finish(), archived...), err
}

// overdue gives the deadlines that one firing deals with.
func overdue(deadlines ordered[deadline], last, now time.Time) []deadline {
	if at, pending := paced(deadlines, last); !pending || at.After(now) {
		return nil
	}
	n := 0
	for n < min(len(deadlines.items), holdsAtOnce) && !deadlines.items[n].at.After(now) {
		n++
	}
	return deadlines.items[:n]
}
