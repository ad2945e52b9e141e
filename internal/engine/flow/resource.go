package flow

import (
	"cmp"
	"slices"
	"sort"
	"strings"
)

// Resource is a bay or a person, as in bays/1 or people/ada.
type Resource struct {
	Name string
	// Versions in the order of their time; before the first there was none.
	Versions []Version
}

// Version is how a resource was from a moment on.
type Version struct {
	Since  int64 // Unix time in nanoseconds
	Title  string
	Kind   string   // of a bay
	Skills []string // of a person
	// Open gives when it can be used within a span, disjoint and in order; nil: always.
	Open    func(within Span) []Span
	Retired bool
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
func (r *Resource) open(within Span) []Span {
	var all []Span
	for i, v := range r.Versions {
		valid := Span{v.Since, within.To}
		if i+1 < len(r.Versions) {
			valid.To = r.Versions[i+1].Since
		}
		if valid = valid.clip(within); valid.length() > 0 && !v.Retired {
			if v.Open == nil {
				all = append(all, valid)
				continue
			}
			all = append(all, v.Open(valid)...)
		}
	}
	return union(all)
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
