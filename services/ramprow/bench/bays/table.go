package bays

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"
)

// WriteTable tells a report to people.
func (r *Report) WriteTable(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%d searches at the same time on %d processors. Costs in weighted ticks of five minutes; lower is better.\n", r.Islands, r.Processors)
	for _, m := range r.Workshops {
		m.tell(&b)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func (m Measured) tell(b *strings.Builder) {
	if m.Plans != nil {
		m.tellOperations(b)
	}
	m.tellWhole(b)
}

// table lines cells up.
type table struct{ w *tabwriter.Writer }

func newTable(b *strings.Builder) table {
	return table{tabwriter.NewWriter(b, 0, 0, 2, ' ', tabwriter.AlignRight)}
}

func (t table) row(cells ...any) {
	for _, c := range cells {
		_, _ = fmt.Fprintf(t.w, "%v\t", c) // into memory
	}
	_, _ = fmt.Fprintln(t.w)
}

func (m Measured) tellOperations(b *strings.Builder) {
	fmt.Fprintf(b, "\n%d bays, %d people, %d jobs, %d operations; no plan costs less than %d\n\n",
		m.Size.Bays, m.Size.People, m.Size.Jobs, m.Size.Jobs*m.Size.Operations, m.Bound)
	t := newTable(b)
	t.row("plan", "time", "cost", "late", "dead bay", "overtime", "makespan", "without a place", "times the bound", "jobs changed", "operations changed")
	tell := func(what string, l Looked, changed bool) {
		jobs, operations := "", ""
		if changed {
			jobs, operations = fmt.Sprint(l.JobsChanged), fmt.Sprint(l.OperationsChanged)
		}
		t.row(what, l.Spent.Round(time.Millisecond), l.Cost.Total(), l.Cost.Late, l.Cost.Dead, l.Cost.Overtime, l.Cost.Makespan, l.Cost.Unplaced,
			fmt.Sprintf("%.2f", 1+l.Gap/100), jobs, operations)
	}
	for _, l := range m.Plans {
		tell(named(l.Asked), l, false)
	}
	for _, l := range m.Ill {
		tell("one ill: "+named(l.Asked), l, true)
	}
	_ = t.w.Flush() // into memory
	if m.Within > 0 {
		fmt.Fprintf(b, "\nWithin a hundredth of the longest search's cost after %v.\n", m.Within.Round(time.Millisecond))
	} else {
		b.WriteString("\nNot within a hundredth of the longest search's cost in a second.\n")
	}
}

func (m Measured) tellWhole(b *strings.Builder) {
	fmt.Fprintf(b, "\n%d bays, %d people, %d jobs, each one piece of work, as bookings are made; costs in weighted minutes\n\n",
		m.Size.Bays, m.Size.People, m.Size.Jobs)
	t := newTable(b)
	t.row("plan", "time", "cost", "late", "waiting", "promises", "dead bay", "changes", "without a place", "above the longest", "jobs moved")
	tell := func(what string, w Whole, moved string) {
		c := w.Cost
		t.row(what, w.Spent.Round(100*time.Microsecond), fmt.Sprintf("%.0f", c.Total()), fmt.Sprintf("%.0f", c.Late), fmt.Sprintf("%.0f", c.Flow),
			fmt.Sprintf("%.0f", c.Promise), fmt.Sprintf("%.0f", c.Dead), fmt.Sprintf("%.0f", c.Change), c.Unplaced, fmt.Sprintf("%.1f %%", w.Above), moved)
	}
	for _, w := range m.Whole {
		tell(named(w.Asked), w, "")
	}
	for _, w := range m.WholeIll {
		tell("one ill: "+named(w.Asked), w, fmt.Sprint(w.Moved))
	}
	_ = t.w.Flush() // into memory
}

func named(asked time.Duration) string {
	if asked == 0 {
		return "first"
	}
	return fmt.Sprintf("searched %v", asked)
}
