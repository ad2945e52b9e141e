package faults

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"text/tabwriter"
	"time"
)

// Struck is a fault that happened.
type Struck struct {
	strike

	Kind     string
	Commands int             // acknowledged before it
	Logs     map[seat]uint64 // the newest revision that callers had been told, by log
	// Whole is the time from the fault to the next answer of everything that needs
	// what failed; After is the part of it after the process ran again.
	Whole, After time.Duration
}

// String tells it on one line.
func (s Struck) String() string {
	return fmt.Sprintf("%3d. after %5d commands: %-12s %-44s out for %7s, %7s after it was undone",
		s.Number, s.Commands, s.of(), s.Kind, milli(s.Whole), milli(s.After))
}

func milli(d time.Duration) string { return d.Round(time.Millisecond).String() }

// Report is what a run showed.
type Report struct {
	Seed    uint64
	Planned []strike
	Struck  []Struck
	// Commands were acknowledged, Probes of them asked by the harness itself to
	// measure outages; Repeats were acknowledged once more; Refused for good.
	Commands, Probes, Repeats, Refused, Reads, Again int
	// Late counts refused requests of which an earlier attempt was done all the same.
	Late            int
	Cars            int // that left, paid or given up
	Invoices        int // in the logs
	Commits, Events int
	Models          int // read models that were compared
	Reasons         map[string]int
	Took            time.Duration
	Violations      []string
	// Unfinished says that the run broke off before everything was checked.
	Unfinished bool
}

// sum takes over what was counted.
func (f *field) sum() {
	t := f.tally
	t.mu.Lock()
	defer t.mu.Unlock()
	r := f.report
	r.Commands, r.Probes, r.Repeats, r.Reads, r.Again = t.commands, t.probes, t.repeats, t.reads, t.again
	r.Refused, r.Reasons = t.refusals, t.reasons
	r.Violations = append(slices.Clone(t.wrong), r.Violations...)
	for _, c := range f.callers {
		r.Cars += c.shift.Left()
	}
}

// reasons lists why calls were not answered, the most frequent first.
func (r *Report) reasons() string {
	text := ""
	for _, reason := range slices.SortedFunc(maps.Keys(r.Reasons), func(a, b string) int { return r.Reasons[b] - r.Reasons[a] }) {
		text += fmt.Sprintf(" %s %d", reason, r.Reasons[reason])
	}
	return text
}

// row is one kind of fault.
type row struct {
	kind           string
	times          int
	longest, after time.Duration
	all            []time.Duration
}

// rows sums the faults up by kind.
func (r *Report) rows() []*row {
	rows := map[string]*row{}
	for _, s := range r.Struck {
		one := rows[s.Kind]
		if one == nil {
			one = &row{kind: s.Kind}
			rows[s.Kind] = one
		}
		one.times++
		one.all = append(one.all, s.Whole)
		one.longest, one.after = max(one.longest, s.Whole), max(one.after, s.After)
	}
	for _, one := range rows {
		slices.Sort(one.all)
	}
	return slices.SortedFunc(maps.Values(rows), func(a, b *row) int { return strings.Compare(a.kind, b.kind) })
}

// Write tells the whole run, and of a violation everything that helps to find it.
func (r *Report) Write(out io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "\nSeed %d: %d faults; %d commands acknowledged in %v (%d of them asked by the harness at faults), %d repeated with the same answer, %d refused for good, %d reads; %d calls were made again.\n",
		r.Seed, len(r.Struck), r.Commands, r.Took.Round(time.Second), r.Probes, r.Repeats, r.Refused, r.Reads, r.Again)
	fmt.Fprintf(&b, "%d cars came and went. In the logs: %d commits with %d events, %d invoices; %d refused requests were done by an earlier attempt that came late. %d sets of read models were compared with the logs.\n",
		r.Cars, r.Commits, r.Events, r.Invoices, r.Late, r.Models)
	b.WriteString("Refused, or to be asked again, because of:" + r.reasons() + "\n\n")
	table := tabwriter.NewWriter(&b, 0, 0, 2, ' ', tabwriter.AlignRight)
	_, _ = fmt.Fprintln(table, "kind of fault\ttimes\tmedian\tlongest unavailable\tlongest after it was undone\t")
	for _, one := range r.rows() {
		_, _ = fmt.Fprintf(table, "%s\t%d\t%s\t%s\t%s\t\n", one.kind, one.times, milli(one.all[len(one.all)/2]), milli(one.longest), milli(one.after))
	}
	if err := table.Flush(); err != nil {
		return err
	}
	switch {
	case len(r.Violations) > 0:
		r.writeViolations(&b)
	case r.Unfinished:
		b.WriteString("\nThe run broke off; nothing is proved.\n")
	default:
		b.WriteString("\nNothing lost, nothing twice, no rule broken.\n")
	}
	_, err := io.WriteString(out, b.String())
	return err
}

func (r *Report) writeViolations(b *strings.Builder) {
	fmt.Fprintf(b, "\n%d rules broken with seed %d:\n", len(r.Violations), r.Seed)
	for _, v := range r.Violations {
		fmt.Fprintln(b, "  "+v)
	}
	b.WriteString("\nThe faults, and how far callers knew the logs to reach before each:\n")
	for _, s := range r.Struck {
		fmt.Fprintln(b, s)
		for _, at := range slices.SortedFunc(maps.Keys(s.Logs), func(a, b seat) int { return strings.Compare(a.String(), b.String()) }) {
			fmt.Fprintf(b, "       %v: sequence %d\n", at, s.Logs[at])
		}
	}
	for _, s := range r.Planned[len(r.Struck):] {
		fmt.Fprintf(b, "not reached: %v\n", s)
	}
}
