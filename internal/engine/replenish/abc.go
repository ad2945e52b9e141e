package replenish

import "slices"

// Item is a part with what it turns over per year.
type Item struct {
	Name  string
	Value float64
}

// Ranked is an item with its share and class.
type Ranked struct {
	Item
	Share float64 // of the whole value
	// Cumulative is the share of this and all items of a higher value.
	Cumulative float64
	Class      byte // 'A', 'B' or 'C'
}

// ABC ranks items by value. An item is A while the share of those before it is
// below aShare, B while it is below bShare, and C after that. Items of the same
// value keep the order of their names.
func ABC(items []Item, aShare, bShare float64) ([]Ranked, error) {
	if err := firstUnmet(inside("aShare", aShare), need{"bShare", bShare, bShare >= aShare && bShare <= 1, "must lie between aShare and 1"}); err != nil {
		return nil, err
	}
	total := 0.0
	for _, it := range items {
		if err := firstUnmet(notNegative("Value", it.Value)); err != nil {
			return nil, err
		}
		total += it.Value
	}
	sorted := slices.Clone(items)
	slices.SortFunc(sorted, func(a, b Item) int {
		if a.Value != b.Value {
			if a.Value > b.Value {
				return -1
			}
			return 1
		}
		if a.Name < b.Name {
			return -1
		}
		return 1
	})
	ranked := make([]Ranked, 0, len(sorted))
	before := 0.0
	for _, it := range sorted {
		r := Ranked{Item: it, Class: classByShare(before, aShare, bShare)}
		if total > 0 {
			r.Share = it.Value / total
		}
		before += r.Share
		r.Cumulative = before
		ranked = append(ranked, r)
	}
	return ranked, nil
}

func classByShare(before, aShare, bShare float64) byte {
	switch {
	case before < aShare:
		return 'A'
	case before < bShare:
		return 'B'
	default:
		return 'C'
	}
}
