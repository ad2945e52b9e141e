package month

import (
	"context"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"ramprow/internal/engine/planner"
)

// Result is how one way of deciding did, over all months.
type Result struct {
	Policy string
	// Cars came, Finished were finished in the month itself, Held by the day that the customer wanted them.
	Cars, Finished, Held int
	// Promised are the cars that got a promise when they were booked, Kept those done by then,
	// Foreseen those done by what the runs of the plan foresaw, without what was learned.
	Promised, Kept, Foreseen int
	// PromisedLaterHours are the opening hours from the plan's end to the promise, of all cars.
	PromisedLaterHours float64
	// DeadBayHours are those in which a car stood open in opening hours and nobody worked at it.
	DeadBayHours float64
	// MeanStay is from a car's coming to its end.
	MeanStay time.Duration
}

// Run lets each policy work through the same months, one for each seed from 1. The
// planner begins the first with nothing learned, and remembers promises from month to month.
func Run(ctx context.Context, months int) ([]Result, error) {
	memory := newRecord()
	policies := []struct {
		name string
		make func() policy
	}{
		{"this planner", func() policy { return newByPlan(memory) }},
		{"this planner, by means", func() policy { return newByPlan(nil) }},
		{"first come, first served", firstCome},
		{"shortest first", shortest},
	}
	var all []Result
	for _, p := range policies {
		r := Result{Policy: p.name}
		for seed := range months {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			how := p.make()
			f := newFloor(draw(uint64(seed)+1), how)
			f.run()
			if plan, ok := how.(*byPlan); ok {
				if plan.failed != nil {
					return nil, fmt.Errorf("month %d: %w", seed+1, plan.failed)
				}
				r.promises(f, plan, memory.hours)
				if plan.record != nil {
					plan.record.end(f.now)
				}
			}
			r.add(f)
		}
		if n := time.Duration(max(1, r.Cars)); r.MeanStay > 0 {
			r.MeanStay /= n
		}
		all = append(all, r)
	}
	return all, nil
}

func (r *Result) add(f *floor) {
	for _, w := range f.works {
		r.Cars++
		end := w.ended
		if end.IsZero() {
			end = f.now
		}
		r.MeanStay += end.Sub(w.arrives)
		if w.ended.IsZero() {
			continue
		}
		if w.ended.Before(day(workdays)) {
			r.Finished++
		}
		if !w.ended.After(w.due) {
			r.Held++
		}
	}
	r.DeadBayHours += f.deadBay.Hours()
}

func (r *Result) promises(f *floor, plan *byPlan, hours planner.Hours) {
	for _, w := range f.works {
		p, ok := plan.promised[w.name]
		if !ok {
			continue
		}
		r.Promised++
		r.PromisedLaterHours += hours.Between(p.planned, p.at).Hours()
		if !w.ended.IsZero() && !w.ended.After(p.at) {
			r.Kept++
		}
		if !w.ended.IsZero() && !w.ended.After(p.foreseen) {
			r.Foreseen++
		}
	}
}

// WriteTable tells the results to people, per month.
func WriteTable(w io.Writer, results []Result, months int) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%d months of %d working days, %d cars a day; the same months for all.\n\n", months, workdays, carsPerDay)
	t := tabwriter.NewWriter(&b, 0, 0, 2, ' ', tabwriter.AlignRight)
	_, _ = fmt.Fprintln(t, "decided by\tdone when wanted\tpromises kept\tas foreseen alone\tpromised after the plan's end in opening hours\tdead bay hours a month\tfinished a month\tmean stay in hours\t") // into memory
	for _, r := range results {
		promises := "\t\t"
		if n := float64(r.Promised); n > 0 {
			promises = fmt.Sprintf("%.1f %%\t%.1f %%\t%.1f", 100*float64(r.Kept)/n, 100*float64(r.Foreseen)/n, r.PromisedLaterHours/n)
		}
		_, _ = fmt.Fprintf(t, "%s\t%.1f %%\t%s\t%.0f\t%.1f\t%.1f\t\n", r.Policy, 100*float64(r.Held)/float64(max(1, r.Cars)), promises, // into memory
			r.DeadBayHours/float64(months), float64(r.Finished)/float64(months), r.MeanStay.Hours())
	}
	_ = t.Flush() // into memory
	_, err := io.WriteString(w, b.String())
	return err
}
