package recount

import (
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// board is what scheduling's log says of bays and people, from the moment on at which the job service heard of it.
type board struct {
	changes []boardChange
}

type boardChange struct {
	heard time.Time
	event proto.Message
}

// resources are the bays and people as they were known at a moment.
func (b *board) resources(at time.Time) []*schedulingv1.Resource {
	known := map[string]*schedulingv1.Resource{}
	for _, c := range b.changes {
		if c.heard.After(at) {
			break
		}
		switch m := c.event.(type) {
		case *schedulingv1.ResourceSet:
			if !strings.HasPrefix(m.GetResource().GetName(), "tools/") {
				known[m.GetResource().GetName()] = proto.CloneOf(m.GetResource())
			}
		case *schedulingv1.ResourceBlocked:
			if r := known[m.GetResource()]; r != nil {
				r.Blocks = append(r.GetBlocks(), m.GetBlock())
			}
		case *schedulingv1.ResourceUnblocked:
			if r := known[m.GetResource()]; r != nil {
				r.Blocks = slices.DeleteFunc(r.GetBlocks(), func(one *schedulingv1.Block) bool { return one.GetId() == m.GetBlock() })
			}
		}
	}
	var all []*schedulingv1.Resource
	for _, r := range known {
		if !r.GetRetired() {
			all = append(all, r)
		}
	}
	return all
}

func open(r *schedulingv1.Resource, at time.Time) bool {
	for _, b := range r.GetBlocks() {
		if !at.Before(b.GetWhen().GetStart().AsTime()) && at.Before(b.GetWhen().GetEnd().AsTime()) {
			return false
		}
	}
	if len(r.GetShifts()) == 0 {
		return true
	}
	at = at.UTC()
	for _, s := range r.GetShifts() {
		minute := uint32(at.Hour()*60 + at.Minute()) //nolint:gosec // of a day
		if int(s.GetWeekday())%7 == int(at.Weekday()) && minute >= s.GetFromMinute() && minute < s.GetToMinute() {
			return true
		}
	}
	return false
}

// edges are the moments at which something opens or closes between two others.
func (b *board) edges(from, to time.Time) []time.Time {
	var all []time.Time
	for _, c := range b.changes {
		all = append(all, c.heard)
		switch m := c.event.(type) {
		case *schedulingv1.ResourceBlocked:
			all = append(all, m.GetBlock().GetWhen().GetStart().AsTime(), m.GetBlock().GetWhen().GetEnd().AsTime())
		case *schedulingv1.ResourceSet:
			for _, block := range m.GetResource().GetBlocks() {
				all = append(all, block.GetWhen().GetStart().AsTime(), block.GetWhen().GetEnd().AsTime())
			}
			for _, s := range m.GetResource().GetShifts() {
				for day := from.UTC().Truncate(24 * time.Hour); day.Before(to); day = day.Add(24 * time.Hour) {
					all = append(all, day.Add(time.Duration(s.GetFromMinute())*time.Minute), day.Add(time.Duration(s.GetToMinute())*time.Minute))
				}
			}
		}
	}
	return all
}
