package flow

import (
	"cmp"
	"slices"
	"sort"
	"strings"
	"time"
)

// Resource is a bay or a person, as in bays/1 or people/ada.
type Resource struct {
	Name string
	// Versions in the order of their time; before the first there was none.
	Versions []Version
}

// Version is how a resource was from a moment on.
type Version struct {
	Since   int64 // Unix time in nanoseconds
	Title   string
	Kind    string   // of a bay
	Skills  []string // of a person
	Shifts  []Shift  // none: always
	Away    []Span
	Retired bool
}

// Shift is when a resource can be used on a weekday.
type Shift struct {
	Weekday              uint32 // 1 Monday … 7 Sunday
	FromMinute, ToMinute uint32 // after midnight, [from, to)
}

// Span is a stretch of time, [From, To), in Unix nanoseconds.
type Span struct{ From, To int64 }

func (s Span) length() int64 { return max(0, s.To-s.From) }

// clip gives the part of a span within another; of no length if there is none.
func (s Span) clip(within Span) Span {
	from := max(s.From, within.From)
	return Span{from, max(from, min(s.To, within.To))}
}

// Shop is all that figures are made from.
type Shop struct {
	// Zone is where shifts are read.
	Zone      *time.Location
	Resources []Resource
	Visits    []Visit
}

const (
	bays   = "bays/"
	people = "people/"
)

// version is the index of the one that holds at a moment; -1: none yet.
func (r *Resource) version(at int64) int {
	return sort.Search(len(r.Versions), func(i int) bool { return r.Versions[i].Since > at }) - 1
}

// title is what people call it: by its newest version.
func (r *Resource) title() string {
	if n := len(r.Versions); n > 0 {
		return cmp.Or(r.Versions[n-1].Title, r.Name)
	}
	return r.Name
}

// open gives when the resource could be used within a span: disjoint and in order.
func (r *Resource) open(within Span, zone *time.Location) []Span {
	var all []Span
	for i, v := range r.Versions {
		valid := Span{v.Since, within.To}
		if i+1 < len(r.Versions) {
			valid.To = r.Versions[i+1].Since
		}
		if valid = valid.clip(within); valid.length() > 0 && !v.Retired {
			all = append(all, without(v.shifts(valid, zone), union(v.Away))...)
		}
	}
	return union(all)
}

func (v *Version) shifts(within Span, zone *time.Location) []Span {
	if len(v.Shifts) == 0 {
		return []Span{within}
	}
	var all []Span
	first := time.Unix(0, within.From).In(zone)
	for day := time.Date(first.Year(), first.Month(), first.Day(), 0, 0, 0, 0, zone); day.UnixNano() < within.To; day = day.AddDate(0, 0, 1) {
		for _, s := range v.Shifts {
			if weekday(day) != s.Weekday {
				continue
			}
			if span := (Span{minute(day, s.FromMinute), minute(day, s.ToMinute)}).clip(within); span.length() > 0 {
				all = append(all, span)
			}
		}
	}
	return union(all)
}

func weekday(day time.Time) uint32 {
	if day.Weekday() == time.Sunday {
		return 7
	}
	return uint32(day.Weekday()) //nolint:gosec // 1 to 6
}

func minute(day time.Time, after uint32) int64 {
	return time.Date(day.Year(), day.Month(), day.Day(), 0, int(after), 0, 0, day.Location()).UnixNano()
}

// union sorts spans and joins those that touch.
func union(spans []Span) []Span {
	sorted := slices.SortedFunc(slices.Values(spans), func(a, b Span) int { return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.To, b.To)) })
	var joined []Span
	for _, s := range sorted {
		if s.length() == 0 {
			continue
		}
		if last := len(joined) - 1; last >= 0 && s.From <= joined[last].To {
			joined[last].To = max(joined[last].To, s.To)
			continue
		}
		joined = append(joined, s)
	}
	return joined
}

// without takes spans out of others; both are disjoint and in order.
func without(spans, taken []Span) []Span {
	var left []Span
	for _, s := range spans {
		from := s.From
		for _, t := range taken {
			if t.To <= from || t.From >= s.To {
				continue
			}
			if t.From > from {
				left = append(left, Span{from, t.From})
			}
			from = max(from, t.To)
		}
		if from < s.To {
			left = append(left, Span{from, s.To})
		}
	}
	return left
}

// overlap is how much of a span lies in disjoint spans.
func overlap(s Span, in []Span) int64 {
	var sum int64
	for i := sort.Search(len(in), func(i int) bool { return in[i].To > s.From }); i < len(in) && in[i].From < s.To; i++ {
		sum += in[i].clip(s).length()
	}
	return sum
}

func isBay(name string) bool    { return strings.HasPrefix(name, bays) }
func isPerson(name string) bool { return strings.HasPrefix(name, people) }
