package inventory

import (
	"cmp"
	"slices"
	"time"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// ordered is a sorted set. Queues are read far more often than they change, and
// moving a few thousand entries in memory costs less than a tree's pointers.
type ordered[T comparable] struct {
	items   []T
	compare func(a, b T) int
}

func (o *ordered[T]) insert(item T) {
	var none T
	if item == none {
		return
	}
	at, found := slices.BinarySearchFunc(o.items, item, o.compare)
	if !found {
		o.items = slices.Insert(o.items, at, item)
	}
}

func (o *ordered[T]) remove(item T) {
	if at, found := slices.BinarySearchFunc(o.items, item, o.compare); found {
		o.items = slices.Delete(o.items, at, at+1)
	}
}

// compareClaims puts the more urgent first, then the older, then the lower job.
func compareClaims(a, b claim) int {
	return cmp.Or(cmp.Compare(b.priority, a.priority), a.since.Compare(b.since), cmp.Compare(a.number, b.number))
}

func claimOf(doc *inventoryv1.Hold, since time.Time) claim {
	return claim{priority: doc.GetPriority(), since: since, number: numberOf(doc.GetJob()), job: doc.GetJob()}
}

// expiry is when an unused hold ends.
type expiry struct {
	at     time.Time
	number uint64
	job    string
}

func compareExpiries(a, b expiry) int {
	return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.number, b.number))
}

// expiryOf is the zero value for a hold that does not end by itself.
func expiryOf(doc *inventoryv1.Hold) expiry {
	if doc.GetExpiresAt() == nil {
		return expiry{}
	}
	return expiry{at: doc.GetExpiresAt().AsTime(), number: numberOf(doc.GetJob()), job: doc.GetJob()}
}
