package desk

import (
	"strconv"

	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// capacityView is what the coming weeks can take, and on which days the site is closed.
type capacityView struct {
	R     *schedulingv1.GetCapacityResponse
	Weeks int
	// Spans are the weeks, which all lines share.
	Spans  []*schedulingv1.CapacitySpan
	Closed []*schedulingv1.ClosedDay
	// Choices are numbers of weeks that are often wanted.
	Choices []int
}

const (
	capacityWeeks     = 4
	mostCapacityWeeks = 26
)

func (d *Desk) showCapacity(v *visit) error {
	view := capacityView{Weeks: capacityWeeks, Choices: []int{capacityWeeks, 8, 13}}
	if text := v.r.URL.Query().Get("weeks"); text != "" {
		weeks, err := strconv.Atoi(text)
		if err != nil || weeks < 1 || weeks > mostCapacityWeeks {
			return badField("weeks", "must be a number from 1 to 26")
		}
		view.Weeks = weeks
	}
	r, err := d.Services.Scheduling.GetCapacity(v.ctx, &schedulingv1.GetCapacityRequest{Weeks: uint32(view.Weeks)}) //nolint:gosec // 1 to 26
	if err != nil {
		return err
	}
	closed, err := d.Services.Scheduling.ListClosedDays(v.ctx, &schedulingv1.ListClosedDaysRequest{MinRevision: v.at()})
	if err != nil {
		return err
	}
	view.R, view.Closed = r, closed.GetClosedDays()
	if lines := r.GetLines(); len(lines) > 0 {
		view.Spans = lines[0].GetSpans()
	}
	return v.render("capacity", view)
}

// closeDay closes the site on the days of the form. A closed day is named after its first day.
func (d *Desk) closeDay(v *visit) error {
	r, err := d.Services.Scheduling.SetClosedDays(v.ctx, &schedulingv1.SetClosedDaysRequest{
		RequestId: v.requestID(), MovePinned: v.form("pinned") != "",
		ClosedDays: []*schedulingv1.ClosedDay{{
			Name: "closed-days/" + v.form("first"), Title: v.form("title"), First: v.form("first"), Last: v.form("last"), Yearly: v.form("yearly") != "",
		}},
	})
	if err != nil {
		return err
	}
	return v.done("/bays/capacity", "closed", r.GetReceipt())
}

func (d *Desk) openDay(v *visit) error {
	r, err := d.Services.Scheduling.RemoveClosedDay(v.ctx, &schedulingv1.RemoveClosedDayRequest{RequestId: v.requestID(), Name: v.form("name")})
	if err != nil {
		return err
	}
	return v.done("/bays/capacity", "open-again", r.GetReceipt())
}
