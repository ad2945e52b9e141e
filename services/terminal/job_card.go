package terminal

import (
	"bytes"
	"context"
	"os"

	"github.com/spf13/cobra"

	"ramprow/internal/jobcard"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

func jobCardPage(o *options) *cobra.Command {
	var file string
	var labels bool
	command := &cobra.Command{
		Use:   "card JOB",
		Short: "Print the job card and its tray labels, as a page for any browser",
		Long: "Writes one HTML page with rules for printing: the card with steps, parts, tools and dangers, then a label\n" +
			"for every tray. The codes on it read as jobs/17 and jobs/17 tray NAME. The maker's data comes first.",
		Example: "  ramprow job card 17 --output-file card.html\n  ramprow job card 17 --labels --output-file labels.html",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, _ []string) error {
			r, err := s.Job.GetJob(ctx, &jobv1.GetJobRequest{Job: job, MinRevision: s.atLeast})
			if err != nil {
				return err
			}
			var page bytes.Buffer
			if err := jobcard.Write(&page, r.GetJob(), jobcard.Options{LabelsOnly: labels, Printed: s.now()}); err != nil {
				return err
			}
			if file == "" || file == "-" {
				_, err := s.out.Write(page.Bytes())
				return err
			}
			if err := os.WriteFile(file, page.Bytes(), 0o600); err != nil {
				return err
			}
			return s.say("%s is written to %s; print it from a browser.", job, file)
		}),
	}
	command.Flags().StringVar(&file, "output-file", "", "file to write; otherwise the page is written out")
	command.Flags().BoolVar(&labels, "labels", false, "tray labels only")
	return command
}
