// Package baycalendar makes calendars of bookings, for the terminal and the desk.
package baycalendar

import (
	"cmp"
	"strings"

	"ramprow/internal/engine/icalendar"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// Of picks the bookings of a bay or a person, as in bays/2 or people/anna; empty: all. A bay is shown with when it is away.
func Of(lanes []*schedulingv1.BoardLane, bay, who string) icalendar.Calendar {
	c := icalendar.Calendar{Product: "-//Ramprow//Bays//EN", Name: "Bays"}
	if who != "" {
		c.Name = number(who)
	}
	for _, lane := range lanes {
		if bay != "" && lane.GetBay().GetName() != bay {
			continue
		}
		if bay != "" {
			c.Name = lane.GetBay().GetTitle()
			c.Events = append(c.Events, Away(lane.GetBay(), lane.GetAway())...)
		}
		for _, b := range lane.GetBookings() {
			if who == "" || b.GetTechnician() == who {
				c.Events = append(c.Events, eventOf(b, lane.GetBay().GetTitle()))
			}
		}
	}
	return c
}

// Away are times at which a bay or a person is away, as far as is told why: leave, maintenance, a closed day.
func Away(resource *schedulingv1.Resource, away []*schedulingv1.Block) []icalendar.Event {
	var all []icalendar.Event
	for _, b := range away {
		start := b.GetWhen().GetStart().AsTime()
		all = append(all, icalendar.Event{
			// What comes again has one identity for each time.
			UID:   resource.GetName() + "/" + b.GetId() + "/" + start.UTC().Format("20060102T1504") + "@ramprow",
			Start: start, End: b.GetWhen().GetEnd().AsTime(), Summary: cmp.Or(b.GetReason(), "Away"), Location: resource.GetTitle(),
		})
	}
	return all
}

func eventOf(b *schedulingv1.Booking, place string) icalendar.Event {
	about := []string{"Job " + number(b.GetJob())}
	for _, line := range [][2]string{
		{"With ", number(b.GetTechnician())},
		{"Tools: ", strings.Join(b.GetTools(), ", ")},
		{"Waits for ", b.GetWaitingFor()},
		{"", b.GetReason()},
	} {
		if line[1] != "" {
			about = append(about, line[0]+line[1])
		}
	}
	return icalendar.Event{
		UID: b.GetName() + "@ramprow", Sequence: b.GetPlanRevision(),
		Start: b.GetWhen().GetStart().AsTime(), End: b.GetWhen().GetEnd().AsTime(),
		Summary: cmp.Or(b.GetTitle(), "Job "+number(b.GetJob())), Description: strings.Join(about, "\n"), Location: place,
		Tentative: b.GetStartedAt() == nil && !b.GetPinned(),
	}
}

// number is the last part of a name, as 17 of jobs/17.
func number(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

// Path is where the desk serves calendars; the token and Suffix follow.
const (
	Path   = "/calendar/"
	Suffix = ".ics"
)

// Address is where a calendar program subscribes; who knows it can read that calendar.
func Address(desk, token string) string { return strings.TrimRight(desk, "/") + Path + token + Suffix }
