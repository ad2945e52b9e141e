package inventory

import (
	"cmp"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	rest "ramprow/internal/platform/shelf"
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
	return claim{priority: doc.GetPriority(), since: since, number: rest.Number(doc.GetJob()), job: doc.GetJob()}
}

// deadline is when something happens to a hold by itself.
type deadline struct {
	at     time.Time
	number uint64
	job    string
}

func compareDeadlines(a, b deadline) int {
	return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.number, b.number))
}

func deadlineOf(doc *inventoryv1.Hold, at *timestamppb.Timestamp) deadline {
	if at == nil {
		return deadline{}
	}
	return deadline{at: at.AsTime(), number: rest.Number(doc.GetJob()), job: doc.GetJob()}
}

// expiryOf is when an unused hold ends; the zero value: not by itself.
func expiryOf(doc *inventoryv1.Hold) deadline { return deadlineOf(doc, doc.GetExpiresAt()) }

// arrivalOf is when the first date that a short hold was told runs out, be it of
// a line or of the whole; the zero value: nothing is short.
func arrivalOf(doc *inventoryv1.Hold) deadline {
	first := doc.GetEta()
	for _, l := range doc.GetLines() {
		if eta := l.GetEta(); eta != nil && eta.AsTime().Before(first.AsTime()) {
			first = eta
		}
	}
	return deadlineOf(doc, first)
}
