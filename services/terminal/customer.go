package terminal

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

func customerCommands() *cobra.Command {
	return tree("customer", "Answer a customer who asks what is kept of him, or asks to be forgotten",
		"  ramprow customer export 'Marta Quell' > quell.json\n  ramprow customer erase 'Marta Quell' --reference 'letter 12/26' --dry-run",
		customerExport, customerErase,
	)
}

func customerExport(o *options) *cobra.Command {
	var jobs []string
	command := &cobra.Command{
		Use:   "export NAME",
		Short: "Write all that is kept of a customer as JSON",
		Long: "Writes what the customer gave and what was done for him, with his invoices as documents, in a form that programs\n" +
			"read. The name is the whole name as the jobs have it. Which of it has to be handed out, and to whom, local law and\n" +
			"your data protection officer decide: see that it is he who asks.",
		Example: "  ramprow customer export 'Marta Quell' > quell.json\n  ramprow customer export 'Marta Quell' --job 17 > quell.json",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			names, err := jobNames(jobs)
			if err != nil {
				return err
			}
			r, err := s.Personal.ExportPersonalData(ctx, &jobv1.ExportPersonalDataRequest{Customer: args[0], Jobs: names})
			if err != nil {
				return err
			}
			return s.say("%s", r.GetDocument())
		}),
	}
	onlyJobs(command, &jobs)
	return command
}

func customerErase(o *options) *cobra.Command {
	var jobs []string
	var reference string
	var dry bool
	command := &cobra.Command{
		Use:   "erase NAME",
		Short: "Make what says who a customer is unreadable for ever, in every copy",
		Long: "Destroys the keys under which name, contact, address, plate, VIN, complaint, authorisations and billed parties of\n" +
			"the customer's jobs were written. Issued invoices and credit notes stay whole, because the accounts must be kept;\n" +
			"how long, local law says. Jobs that are open, owe money or wait for the outcome of a re-opened audit are refused.\n" +
			"Nobody can call the customer afterwards if a wrench is found out of tolerance. It cannot be undone: look first\n" +
			"with --dry-run. If it breaks off, do it again with the same --request-id.",
		Example: "  ramprow customer erase 'Marta Quell' --reference 'letter 12/26' --dry-run\n  ramprow customer erase 'Marta Quell' --reference 'letter 12/26'",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			names, err := jobNames(jobs)
			if err != nil {
				return err
			}
			if dry {
				r, err := s.Personal.PreviewErasure(ctx, &jobv1.PreviewErasureRequest{Customer: args[0], Jobs: names})
				if err != nil {
					return err
				}
				return s.showErasure(r)
			}
			r, err := s.Personal.ErasePersonalData(ctx, &jobv1.ErasePersonalDataRequest{
				RequestId: s.once(), Customer: args[0], Jobs: names, Reference: reference,
			})
			if err != nil {
				return err
			}
			return s.answer(r, "erased: "+strings.Join(r.GetJobs(), ", ")+repeated(r.GetReceipt()))
		}),
	}
	onlyJobs(command, &jobs)
	command.Flags().StringVar(&reference, "reference", "", "the customer's request, as in 'letter 12/26'; it is kept for ever, so write no name")
	command.Flags().BoolVar(&dry, "dry-run", false, "show what would go and what would stay, and change nothing")
	return command
}

func onlyJobs(command *cobra.Command, jobs *[]string) {
	command.Flags().StringArrayVar(jobs, "job", nil, "only this job of his, where two people have one name; may be repeated")
}

func jobNames(given []string) ([]string, error) {
	names := make([]string, len(given))
	for i, g := range given {
		var err error
		if names[i], err = jobName(g); err != nil {
			return nil, err
		}
	}
	return names, nil
}

func (s *session) showErasure(r *jobv1.PreviewErasureResponse) error {
	if s.json {
		return s.showJSON(r)
	}
	for _, j := range r.GetJobs() {
		var c card
		c.add("Job", strings.Join([]string{j.GetJob(), word(j.GetState()), j.GetPlate(), "opened " + at(j.GetOpenedAt(), s.now())}, "  "))
		for _, g := range j.GetGoes() {
			c.add("Goes", g)
		}
		for _, left := range j.GetStays() {
			c.add("Stays", left)
		}
		for _, u := range j.GetUnmet() {
			c.add("Not yet", u.GetDescription())
		}
		if err := c.write(s.out); err != nil {
			return err
		}
	}
	return s.say("Nothing was changed. The same without --dry-run erases it, for ever.")
}
