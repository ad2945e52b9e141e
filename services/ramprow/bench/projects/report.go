package projects

import (
	"fmt"
	"io"
	"runtime"
	"strings"
	"text/tabwriter"
)

// Report is what a run has found.
type Report struct {
	Workers int    `json:"workers"`
	Seed    uint64 `json:"seed"`
	Every   int    `json:"every"`
	Rows    []Row  `json:"rows"`
}

// Row is one set at one budget.
type Row struct {
	Set       string `json:"set"`
	Instances int    `json:"instances"`
	// Asked is the count of schedules for each instance, zero: bounded by time alone;
	// Schedules is how many were made for all of them.
	Asked     int `json:"schedules_each"`
	Schedules int `json:"schedules"`
	// Known is how many instances have a best known value. OverKnown is the mean
	// deviation of these from it in percent, OverPath that of all from the critical path.
	Known     int     `json:"known"`
	OverKnown float64 `json:"over_known_percent"`
	OverPath  float64 `json:"over_path_percent"`
	// Hits reached the best known value or less, Shorter went below it.
	Hits    int `json:"hits"`
	Shorter int `json:"shorter_than_known"`
	// Proved is how many are proved to be optimal, Derived of how many of these the
	// checker found the proof by itself or followed it; OverBound is the mean deviation of
	// all from their bounds in percent.
	Proved    int     `json:"proved"`
	Derived   int     `json:"proof_checked"`
	OverBound float64 `json:"over_bound_percent"`
	// PerSecond is schedules a second of one core.
	PerSecond   float64 `json:"schedules_per_core_second"`
	CoreSeconds float64 `json:"core_seconds"`
	WallSeconds float64 `json:"wall_seconds"`
}

func rowOf(set string, asked int, all []Outcome) Row {
	r := Row{Set: set, Instances: len(all), Asked: asked}
	for _, o := range all {
		r.Schedules += o.Schedules
		r.CoreSeconds += o.Spent.Seconds()
		r.OverPath += over(o.Makespan, o.Path)
		r.OverBound += over(o.Makespan, o.Bound)
		if o.Proved() {
			r.Proved++
			if o.Derived {
				r.Derived++
			}
		}
		if o.Known == 0 {
			continue
		}
		r.Known++
		r.OverKnown += over(o.Makespan, o.Known)
		if o.Makespan <= o.Known {
			r.Hits++
		}
		if o.Makespan < o.Known {
			r.Shorter++
		}
	}
	r.OverPath /= float64(max(1, len(all)))
	r.OverBound /= float64(max(1, len(all)))
	r.OverKnown /= float64(max(1, r.Known))
	if r.CoreSeconds > 0 {
		r.PerSecond = float64(r.Schedules) / r.CoreSeconds
	}
	return r
}

// over is how far a makespan is above a value, in percent; a project without work
// is above nothing.
func over(makespan, value int) float64 {
	if value == 0 {
		return 0
	}
	return 100 * float64(makespan-value) / float64(value)
}

// WriteTable tells the report to people.
func (r *Report) WriteTable(out io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "Published instances, seed %d, %d at once on %d processors; each pass of a generation scheme is one schedule.\n", r.Seed, r.Workers, runtime.NumCPU())
	if r.Every > 1 {
		fmt.Fprintf(&b, "Only one instance in %d by name.\n", r.Every)
	}
	fmt.Fprintf(&b, "Every schedule passed the checker.\n\n")
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', tabwriter.AlignRight)
	row := func(cells ...any) {
		for _, c := range cells {
			_, _ = fmt.Fprintf(w, "%v\t", c) // a Builder takes everything
		}
		_, _ = fmt.Fprintln(w)
	}
	row("set", "instances", "schedules each", "% over known", "% over path", "% over bound", "known hit", "shorter", "proved", "proof checked", "schedules/s of a core", "s a core")
	for _, s := range r.Rows {
		asked, known, hits := "by time", "-", "-"
		if s.Asked > 0 {
			asked = fmt.Sprint(s.Asked)
		}
		if s.Known > 0 {
			known, hits = fmt.Sprintf("%.2f", s.OverKnown), fmt.Sprintf("%d of %d", s.Hits, s.Known)
		}
		row(s.Set, s.Instances, asked, known, fmt.Sprintf("%.2f", s.OverPath), fmt.Sprintf("%.2f", s.OverBound), hits, s.Shorter, s.Proved, s.Derived,
			fmt.Sprintf("%.0f", s.PerSecond), fmt.Sprintf("%.1f", s.CoreSeconds))
	}
	_ = w.Flush()
	_, err := io.WriteString(out, b.String())
	return err
}
