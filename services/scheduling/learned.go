package scheduling

import (
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	"ramprow/internal/engine/planner"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// learned is what promises learn from: how the newest finished jobs turned out, the
// newest last, at most planner.Remembered of each: against what was foreseen at their
// first booking, and as their work began.
type learned struct{ Booked, Begun []turnout }

// turnout is how one job turned out.
type turnout struct {
	Foreseen time.Time
	// Late is the open time from then to the end; negative: it was done sooner.
	Late time.Duration
	// Kept tells that it was done as first promised.
	Kept bool
}

// finished remembers how a job turned out. The lists are shared with forks, so they are
// not changed in place.
func (l learned) finished(m *schedulingv1.BookingFinished) learned {
	b := m.GetBooking()
	kept := !timeOf(b.GetFinishedAt()).After(timeOf(b.GetFirstPromised()))
	if m.GetLate() != nil {
		l.Booked = newest(l.Booked, turnout{timeOf(b.GetForeseen()), m.GetLate().AsDuration(), kept})
	}
	if m.GetLateBegun() != nil {
		l.Begun = newest(l.Begun, turnout{timeOf(b.GetForeseenBegun()), m.GetLateBegun().AsDuration(), kept})
	}
	return l
}

func newest(list []turnout, one turnout) []turnout {
	return append(slices.Clone(list[max(0, len(list)+1-planner.Remembered):]), one)
}

// turnedOut writes into the event how much later than foreseen a job was done.
func (st *State) turnedOut(event *schedulingv1.BookingFinished, now time.Time) {
	late := func(foreseen time.Time) *durationpb.Duration {
		if foreseen.IsZero() {
			return nil
		}
		return durationpb.New(st.hours(earlier(foreseen, now), latest(foreseen, now)).Between(foreseen, now))
	}
	b := event.GetBooking()
	event.Late, event.LateBegun = late(timeOf(b.GetForeseen())), late(timeOf(b.GetForeseenBegun()))
}

// hours are when anybody is there.
func (st *State) hours(from, to time.Time) planner.Hours {
	var people []planner.Calendar
	within := planner.Interval{Start: from, End: to}
	for _, r := range st.resources {
		if r.GetKind() == schedulingv1.ResourceKind_RESOURCE_KIND_PERSON && !r.GetRetired() {
			people = append(people, st.site().Calendar(r, within))
		}
	}
	return planner.HoursOf(people, within, st.zone)
}

// margin is what promises of jobs that wait, or of begun ones, need beyond what is foreseen.
func (st *State) margin(begun bool, now time.Time) planner.Margin {
	return planner.MarginOf(st.turned(begun, now), planner.Promised)
}

// turned is how the newest jobs turned out whose foreseen time has come, done or not.
// With those that are done alone, slow ones would be missing.
func (st *State) turned(begun bool, now time.Time) []planner.Turned {
	known, foreseenOf := st.learned.Booked, (*schedulingv1.Booking).GetForeseen
	if begun {
		known, foreseenOf = st.learned.Begun, (*schedulingv1.Booking).GetForeseenBegun
	}
	var past []planner.Turned
	for _, o := range known {
		if !o.Foreseen.After(now) {
			past = append(past, planner.Turned{Late: o.Late})
		}
	}
	for _, w := range st.open {
		if at := foreseenOf(w.booking); at != nil && !timeOf(at).After(now) {
			past = append(past, planner.Turned{Open: true})
		}
	}
	return past[max(0, len(past)-planner.Remembered):]
}

// learnedOf tells what was learned.
func (st *State) learnedOf(begun bool, now time.Time) *schedulingv1.Learned {
	m := st.margin(begun, now)
	l := &schedulingv1.Learned{Promises: uint32(m.Of), Margin: durationpb.New(m.Add)} //nolint:gosec // at most planner.Remembered
	if begun {
		return l
	}
	for _, o := range st.learned.Booked {
		l.Finished++
		if o.Kept {
			l.Kept++
		}
	}
	return l
}

// learnedWords say a margin to people.
func learnedWords(m planner.Margin) string {
	return fmt.Sprintf("four of five of the last %d jobs were done no more than %s of opening hours later than foreseen", m.Of, spokenDuration(m.Add))
}

func spokenDuration(d time.Duration) string {
	minutes := int(d.Round(time.Minute) / time.Minute)
	if minutes < 60 {
		return fmt.Sprintf("%d min", minutes)
	}
	return fmt.Sprintf("%d h %02d min", minutes/60, minutes%60)
}

func latest(a, b time.Time) time.Time {
	if a.Before(b) {
		return b
	}
	return a
}
