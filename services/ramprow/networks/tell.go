package networks

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
)

// Tell writes the results for people: one network with its posteriors, several as a table.
func Tell(out io.Writer, results []Result, asked bool) error {
	if len(results) == 1 {
		return tellOne(out, results[0])
	}
	if err := tellTable(out, results); err != nil || !asked {
		return err
	}
	for _, r := range results {
		if r.Refused == "" {
			if _, err := fmt.Fprintf(out, "\n%s\n", r.File); err != nil {
				return err
			}
			if err := tellPosteriors(out, r); err != nil {
				return err
			}
		}
	}
	return nil
}

func tellOne(out io.Writer, r Result) error {
	b := &strings.Builder{}
	fmt.Fprintf(b, "%s: %d variables, %d edges, %d parameters; read in %.1f ms\n", r.File, r.Variables, r.Edges, r.Parameters, r.ReadMS)
	if r.Rounding > 1e-9 {
		fmt.Fprintf(b, "Rows of the file are up to %.2g off 1 by rounding, and were scaled to 1.\n", r.Rounding)
	}
	if r.Relevant > 0 {
		fmt.Fprintf(b, "%d variables bear on the question; %s; largest table %.0f entries; tables %.2f MB\n",
			r.Relevant, widthWords(r), r.Largest, r.TableMB)
	}
	if r.Refused == "" {
		fmt.Fprintf(b, "Answered exactly in %.2f ms, %.2f MB allocated. P(evidence) = %.10g (ln %.10g)\n", r.AnswerMS, r.AllocMB, r.Evidence, r.LogEvid)
		if r.Checked != nil {
			fmt.Fprintf(b, "Multiplied out over %.0f worlds: largest difference %.2g\n", r.Checked.Worlds, r.Checked.Difference)
		}
	}
	if _, err := io.WriteString(out, b.String()); err != nil {
		return err
	}
	return tellPosteriors(out, r)
}

func widthWords(r Result) string {
	if r.Width == r.AtLeast {
		return fmt.Sprintf("treewidth %d", r.Width)
	}
	return fmt.Sprintf("width %d (treewidth at least %d)", r.Width, r.AtLeast)
}

func tellPosteriors(out io.Writer, r Result) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	for _, row := range r.Posterior {
		name := row.Variable
		for s, state := range row.States {
			fmt.Fprintf(w, "%s\t%s\t%.10f\n", name, state, row.P[s]) //nolint:errcheck // Flush tells
			name = ""
		}
	}
	return w.Flush()
}

func tellTable(out io.Writer, results []Result) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "network\tvariables\tedges\tparameters\twidth\tat least\tlargest table\tread ms\tanswer ms\ttables MB\tallocated MB\tchecked") //nolint:errcheck // Flush tells
	for _, r := range results {
		checked := "-"
		switch {
		case r.Refused != "":
			checked = "refused: " + r.Refused
		case r.Checked != nil:
			checked = fmt.Sprintf("off by %.1g", r.Checked.Difference)
		}
		fmt.Fprintf(w, "%s\t%d\t%d\t%d\t%d\t%d\t%.0f\t%.1f\t%.2f\t%.2f\t%.2f\t%s\n", r.File, r.Variables, r.Edges, r.Parameters, //nolint:errcheck // Flush tells
			r.Width, r.AtLeast, r.Largest, r.ReadMS, r.AnswerMS, r.TableMB, r.AllocMB, checked)
	}
	return w.Flush()
}
