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
	fmt.Fprintf(b, "\n%d bays, %d people, %d jobs, %d operations; no plan costs less than %d\n\n",
		m.Size.Bays, m.Size.People, m.Size.Jobs, m.Size.Jobs*m.Size.Operations, m.Bound)
	t := tabwriter.NewWriter(b, 0, 0, 2, ' ', tabwriter.AlignRight)
	row := func(cells ...any) {
		for _, c := range cells {
			_, _ = fmt.Fprintf(t, "%v\t", c) // into memory
		}
		_, _ = fmt.Fprintln(t)
	}
	row("plan", "time", "cost", "late", "dead bay", "overtime", "makespan", "without a place", "times the bound", "jobs changed", "operations changed")
	tell := func(what string, l Looked, changed bool) {
		jobs, operations := "", ""
		if changed {
			jobs, operations = fmt.Sprint(l.JobsChanged), fmt.Sprint(l.OperationsChanged)
		}
		row(what, l.Spent.Round(time.Millisecond), l.Cost.Total(), l.Cost.Late, l.Cost.Dead, l.Cost.Overtime, l.Cost.Makespan, l.Cost.Unplaced,
			fmt.Sprintf("%.2f", 1+l.Gap/100), jobs, operations)
	}
	for _, l := range m.Plans {
		tell(named("searched", l.Asked), l, false)
	}
	for _, l := range m.Ill {
		tell("one ill: "+named("searched", l.Asked), l, true)
	}
	_ = t.Flush() // into memory
	if m.Within > 0 {
		fmt.Fprintf(b, "\nWithin a hundredth of the longest search's cost after %v.\n", m.Within.Round(time.Millisecond))
	} else {
		b.WriteString("\nNot within a hundredth of the longest search's cost in a second.\n")
	}
}

func named(what string, asked time.Duration) string {
	if asked == 0 {
		return "first"
	}
	return fmt.Sprintf("%s %v", what, asked)
}
