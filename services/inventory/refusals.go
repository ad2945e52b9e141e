package inventory

import (
	"fmt"
	"strings"

	"ramprow/internal/platform/fault"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

func noPart(number string) *fault.Error {
	return fault.New(fault.NotFound, "PART_NOT_FOUND",
		"no part %s is listed; check the number, or list it with SetPart", number).
		With("part", number).About("Part", partName(number))
}

func noHold(job string) *fault.Error {
	return fault.New(fault.NotFound, "HOLD_NOT_FOUND",
		"%s has no hold; parts are held when its diagnosis is confirmed", job).
		With("job", job).About("Hold", holdName(job))
}

func noOrder(name string) *fault.Error {
	return fault.New(fault.NotFound, "ORDER_NOT_FOUND",
		"there is no %s; list the orders to find the right one", name).
		With("order", name).About("Order", name)
}

func noReturn(name string) *fault.Error {
	return fault.New(fault.NotFound, "RETURN_NOT_FOUND",
		"there is no %s; list the returns to find the right one", name).
		With("return", name).About("Return", name)
}

func noLine(job, line string) *fault.Error {
	return fault.New(fault.NotFound, "LINE_NOT_FOUND",
		"the hold of %s has no line %s; get the hold to see its lines", job, line).
		With("job", job).With("line", line).About("HoldLine", holdName(job)+"/"+line)
}

// heldForJobs refuses to take away what is held, and says who holds it.
func heldForJobs(reason string, p *part, wanted string) *fault.Error {
	number := p.about.GetNumber()
	jobs := p.holdersByJob()
	e := fault.New(fault.Precondition, reason,
		"%s, but %d of %s are on hand and %d are held for %s; release a hold or look again",
		wanted, p.onHand, number, p.held, orNobody(strings.Join(jobs, ", "))).
		With("part", number).With("on_hand", fmt.Sprint(p.onHand)).With("held", fmt.Sprint(p.held)).
		About("Part", partName(number))
	for _, job := range jobs {
		e.WithUnmet(fault.Unmet{
			Type:        "HELD_FOR_JOB",
			Subject:     holdName(job),
			Description: fmt.Sprintf("%d are held for %s; the clerk or the dispatcher can release that hold", p.holders[job], job),
		})
	}
	return e
}

func orNobody(names string) string {
	if names == "" {
		return "nobody"
	}
	return names
}

// lineState refuses what a line's state does not allow.
func lineState(reason, job string, l *inventoryv1.HoldLine, advice string) *fault.Error {
	state := spoken(l.GetState().String(), "LINE_STATE_")
	return fault.New(fault.Precondition, reason, "line %s of %s is %s; %s", l.GetLine(), job, state, advice).
		With("job", job).With("line", l.GetLine()).With("state", state).
		WithUnmet(fault.Unmet{Type: reason, Subject: holdName(job) + "/" + l.GetLine(), Description: advice})
}
