package terminal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"ramprow/internal/engine/fastening/record"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

func tightenRecord(o *options) *cobra.Command {
	var page, file string
	command := &cobra.Command{
		Use:   "record JOB",
		Short: "Write the tightening record for the customer: a page to print, a file that proves itself",
		Example: "  ramprow tighten record 17 --html record-17.html --json record-17.json\n" +
			"  ramprow tighten record 17 > record-17.json",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, _ []string) error {
			r, err := s.Audit.GetTighteningRecord(ctx, &torqueauditv1.GetTighteningRecordRequest{Job: job, MinRevision: s.atLeast, WithHtml: page != ""})
			if err != nil {
				return err
			}
			if page == "" && file == "" {
				_, err := s.out.Write(r.GetJson())
				return err
			}
			for name, content := range map[string][]byte{page: []byte(r.GetHtml()), file: r.GetJson()} {
				if name == "" {
					continue
				}
				if err := os.WriteFile(name, content, 0o644); err != nil { //nolint:gosec // handed to the customer, so readable
					return fmt.Errorf("write the record: %w", err)
				}
			}
			return s.answer(r, job+": record written, sum "+r.GetSum())
		}),
	}
	flags := command.Flags()
	flags.StringVar(&page, "html", "", "write the page to print into this file")
	flags.StringVar(&file, "json", "", "write the record into this file; without any file it goes to the output")
	return command
}

func tightenVerify(o *options) *cobra.Command {
	var sum string
	var withLog bool
	command := &cobra.Command{
		Use:   "verify FILE",
		Short: "Prove that nobody changed a tightening record, or name the first changed reading; needs no server",
		Long: `Prove that nobody changed a tightening record, or name the first changed reading.

The file's own chain finds every change by somebody who did not compute all hashes anew. To find that too,
give the sum from the printed page, or compare with the workshop's log.`,
		Example: "  ramprow tighten verify record-17.json\n  ramprow tighten verify record-17.json --sum 9f2c…\n  ramprow tighten verify record-17.json --with-log",
		RunE: func(command *cobra.Command, args []string) error {
			proof, err := verifyFile(args[0])
			if err != nil {
				return err
			}
			if sum != "" && sum != proof.Sum {
				return fmt.Errorf("%s: its sum is %s, not the one on the page: it is another edition, or somebody changed it and computed the chain anew", args[0], proof.Sum)
			}
			if withLog {
				return o.run(func(ctx context.Context, s *session, _ []string) error { return s.verifyWithLog(ctx, args[0], proof) })(command, args)
			}
			return sayProof(command.OutOrStdout(), args[0], proof)
		},
	}
	flags := command.Flags()
	flags.StringVar(&sum, "sum", "", "the sum on the printed page")
	flags.BoolVar(&withLog, "with-log", false, "compare with the workshop's log too, through the server")
	return command
}

// verifyFile walks the chain of a file that may be anything.
func verifyFile(name string) (*record.Proof, error) {
	file, err := os.Open(name) //nolint:gosec // the caller names it
	if err != nil {
		return nil, fmt.Errorf("read the record: %w", err)
	}
	data, err := io.ReadAll(io.LimitReader(file, record.MaxBytes+1))
	if err = errors.Join(err, file.Close()); err != nil {
		return nil, fmt.Errorf("read the record: %w", err)
	}
	proof, err := record.Verify(data)
	if err != nil {
		return nil, fmt.Errorf("%s is not proved: %w", name, err)
	}
	return proof, nil
}

func sayProof(out io.Writer, name string, p *record.Proof) error {
	_, err := fmt.Fprintf(out, "%s: %s (%s), %s, %s: unchanged\nsum %s\n", name, p.Job, p.Vehicle, p.State, plural(len(p.Hashes), "reading"), p.Sum)
	return err
}

// verifyWithLog compares a file with the record that the log gives now.
func (s *session) verifyWithLog(ctx context.Context, name string, p *record.Proof) error {
	r, err := s.Audit.GetTighteningRecord(ctx, &torqueauditv1.GetTighteningRecordRequest{Job: p.Job, MinRevision: s.atLeast})
	if err != nil {
		return err
	}
	now, err := record.Verify(r.GetJson())
	if err != nil {
		return fmt.Errorf("the log's own record: %w", err)
	}
	if err := p.Follows(now); err != nil {
		return fmt.Errorf("%s does not fit the log: %w", name, err)
	}
	if err := sayProof(s.out, name, p); err != nil {
		return err
	}
	if p.Sum == now.Sum {
		return s.say("It is what the log says.")
	}
	return s.say("Its readings are those of the log, which has gone on since: %s, %s now.", now.State, plural(len(now.Hashes), "reading"))
}
