package flow

import (
	"cmp"
	"fmt"
	"slices"
	"sort"
)

// Stage is what a stretch of a stay was spent on.
type Stage uint8

// The stages, in the order in which most jobs go through them.
const (
	InDiagnosis          Stage = iota
	WaitingForAuthority        // the customer has not agreed to what the plan costs
	WaitingForParts            // a line is missing, or inventory has not answered
	Closed                     // nothing that it needs is open at this hour
	WaitingForBay              // each bay that it can use is taken
	WaitingForTechnician       // a bay is free, but everybody who may do it is busy
	WaitingItsTurn             // bay and technician are free; it is booked for later
	AtWork                     // somebody works at it
	AtRework                   // somebody works again at what was thought finished
	Standing                   // in its bay, and nobody works at it although somebody could
	InProving                  // every step is done; driven and read again
	InBilling                  // proved; the invoice is not closed
)

// Stages is how many there are.
const Stages = int(InBilling) + 1

// stretch is a part of a stay that was spent on one stage.
type stretch struct {
	Span

	stage Stage
	mark  int // which mark it belongs to
}

// sweep knows at every moment which bays and people are open and free.
type sweep struct {
	resources []Resource
	index     map[string]int
	toggles   []toggle
	// cells: between two starts nothing changes. lacks gives for each kind of needs
	// what a job with them would lack there.
	starts []int64
	lacks  map[string][]lacking
	span   Span
}

// toggle is a change of one resource.
type toggle struct {
	at         int64
	resource   int
	open, busy int
}

// lacking is the stage of a job that nobody works at: while it is not in a bay, and while it is.
type lacking struct{ outside, inside Stage }

// look follows all bays and people over a span.
func look(shop Shop, span Span) *sweep {
	s := &sweep{resources: shop.Resources, index: map[string]int{}, lacks: map[string][]lacking{}, span: span}
	for i := range s.resources {
		r := &s.resources[i]
		s.index[r.Name] = i
		for _, open := range r.open(span) {
			s.toggles = append(s.toggles, toggle{at: open.From, resource: i, open: 1}, toggle{at: open.To, resource: i, open: -1})
		}
		for _, v := range r.Versions { // a new version may suit other jobs
			if v.Since > span.From && v.Since < span.To {
				s.toggles = append(s.toggles, toggle{at: v.Since, resource: i})
			}
		}
	}
	for i := range shop.Visits {
		s.occupy(&shop.Visits[i])
	}
	slices.SortFunc(s.toggles, func(a, b toggle) int { return cmp.Compare(a.at, b.at) })
	kinds := map[string]Needs{}
	for i := range shop.Visits {
		kinds[needsKey(shop.Visits[i].Needs)] = shop.Visits[i].Needs
	}
	s.run(kinds)
	return s
}

// occupy notes what a visit keeps busy.
func (s *sweep) occupy(v *Visit) {
	for i, m := range v.Marks {
		span := v.span(i, s.span.To).clip(s.span)
		if span.length() == 0 {
			continue
		}
		names := m.hands()
		for j := range names {
			names[j] = people + names[j]
		}
		for _, name := range append(names, m.Bay) {
			if r, known := s.index[name]; known {
				s.toggles = append(s.toggles, toggle{at: span.From, resource: r, busy: 1}, toggle{at: span.To, resource: r, busy: -1})
			}
		}
	}
}

// span is how long a mark holds.
func (v *Visit) span(mark int, now int64) Span {
	to := v.until(now)
	if mark+1 < len(v.Marks) {
		to = min(to, v.Marks[mark+1].At)
	}
	return Span{v.Marks[mark].At, max(to, v.Marks[mark].At)}
}

func needsKey(n Needs) string { return fmt.Sprintf("%q %q", n.BayKinds, n.Skills) }

func (s *sweep) run(kinds map[string]Needs) {
	open, busy := make([]int, len(s.resources)), make([]int, len(s.resources))
	at := s.span.From
	for i := 0; ; {
		for ; i < len(s.toggles) && s.toggles[i].at <= at; i++ {
			t := s.toggles[i]
			open[t.resource] += t.open
			busy[t.resource] += t.busy
		}
		s.starts = append(s.starts, at)
		for key, n := range kinds {
			s.lacks[key] = append(s.lacks[key], s.lacking(n, at, open, busy))
		}
		if i == len(s.toggles) {
			return
		}
		at = s.toggles[i].at
	}
}

// supply counts what there is of a kind at one moment.
type supply struct{ known, open, free int }

func (s *sweep) lacking(n Needs, at int64, open, busy []int) lacking {
	var bay, person supply
	any := false
	for i := range s.resources {
		r := &s.resources[i]
		v := r.version(at)
		if v < 0 || r.Versions[v].Retired {
			continue
		}
		any = true
		of := &person
		switch {
		case isBay(r.Name) && (len(n.BayKinds) == 0 || slices.Contains(n.BayKinds, r.Versions[v].Kind)):
			of = &bay
		case isPerson(r.Name) && able(r.Versions[v], n.Skills):
		default:
			continue
		}
		of.known++
		if open[i] > 0 {
			of.open++
			if busy[i] == 0 {
				of.free++
			}
		}
	}
	if !any { // nobody has told of bays and people
		return lacking{outside: WaitingItsTurn, inside: Standing}
	}
	return lacking{outside: outside(bay, person), inside: inside(person)}
}

func able(v Version, skills []string) bool {
	return !slices.ContainsFunc(skills, func(skill string) bool { return !slices.Contains(v.Skills, skill) })
}

func outside(bay, person supply) Stage {
	switch {
	case bay.known == 0:
		return WaitingForBay
	case person.known == 0:
		return WaitingForTechnician
	case bay.open == 0, person.open == 0:
		return Closed
	case bay.free == 0:
		return WaitingForBay
	case person.free == 0:
		return WaitingForTechnician
	}
	return WaitingItsTurn
}

func inside(person supply) Stage {
	switch {
	case person.known == 0:
		return WaitingForTechnician
	case person.open == 0:
		return Closed
	case person.free == 0:
		return WaitingForTechnician
	}
	return Standing
}

// stage is what a mark says by itself; false: it depends on what is free.
func (m Mark) stage() (Stage, bool) {
	switch {
	case m.Hands != "" && m.Rework:
		return AtRework, true
	case m.Hands != "":
		return AtWork, true
	case m.Phase == Diagnosis:
		return InDiagnosis, true
	case m.Phase == Proving:
		return InProving, true
	case m.Phase == Billing:
		return InBilling, true
	case m.Lacks&LacksAuthority != 0:
		return WaitingForAuthority, true
	case m.Lacks&LacksParts != 0:
		return WaitingForParts, true
	}
	return 0, false
}

// stretches tells what a stay was spent on, without gaps, within the sweep's span.
func (s *sweep) stretches(v *Visit) []stretch {
	var all []stretch
	lacks := s.lacks[needsKey(v.Needs)]
	for i, m := range v.Marks {
		span := v.span(i, s.span.To).clip(s.span)
		if span.length() == 0 {
			continue
		}
		if stage, known := m.stage(); known {
			all = append(all, stretch{Span: span, stage: stage, mark: i})
			continue
		}
		for cell := sort.Search(len(s.starts), func(c int) bool { return s.starts[c] > span.From }) - 1; cell < len(s.starts) && s.starts[cell] < span.To; cell++ {
			end := s.span.To
			if cell+1 < len(s.starts) {
				end = s.starts[cell+1]
			}
			stage := lacks[cell].outside
			if m.Bay != "" {
				stage = lacks[cell].inside
			}
			part := Span{s.starts[cell], end}.clip(span)
			if part.length() == 0 {
				continue
			}
			if last := len(all) - 1; last >= 0 && all[last].mark == i && all[last].stage == stage {
				all[last].To = part.To
				continue
			}
			all = append(all, stretch{Span: part, stage: stage, mark: i})
		}
	}
	return all
}
