package inventory

import (
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// One firing releases so many holds at most, so that its commit stays small, and
// the next follows after a pause.
const (
	expiriesAtOnce = 50
	expiryPause    = time.Second
)

// due gives the time at which the next unused hold ends.
func due(st *State) (time.Time, bool) {
	if len(st.expiries.items) == 0 {
		return time.Time{}, false
	}
	at := st.expiries.items[0].at
	if next := st.lastExpiry.Add(expiryPause); next.After(at) {
		at = next
	}
	return at, true
}

// fire releases the holds whose time is over.
func fire(st *State, in sitelog.Input) ([]proto.Message, error) {
	d := newDraft(st, in)
	for _, e := range st.expiries.items[:min(len(st.expiries.items), expiriesAtOnce)] {
		if e.at.After(in.Now) {
			break
		}
		d.release(ending{job: e.job, state: inventoryv1.HoldState_HOLD_STATE_EXPIRED, reason: "nothing of it was used in time"})
	}
	return d.finish(), nil
}
