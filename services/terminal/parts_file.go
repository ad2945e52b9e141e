package terminal

import (
	"context"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/partmaster"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

func partsImport(o *options) *cobra.Command {
	var dry bool
	command := &cobra.Command{
		Use:   "import FILE",
		Short: "List or change the parts of a CSV file: all of them or, with any mistake, none",
		Long: "The first line names the columns, as 'ramprow parts export' writes them. A column that is\n" +
			"missing leaves that field of a known part as it is. Every mistake is told by its line.",
		Example: "  ramprow parts import parts.csv --dry-run\n  ramprow parts import parts.csv",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			text, err := os.ReadFile(args[0])
			if err != nil {
				return fmt.Errorf("read the parts: %w", err)
			}
			trial, err := s.Inventory.ImportParts(ctx, &inventoryv1.ImportPartsRequest{RequestId: s.once(), Csv: text, DryRun: true})
			if err != nil {
				return err
			}
			if n := len(trial.GetMistakes()); n > 0 {
				return s.tellMistakes(args[0], trial)
			}
			if dry {
				return s.answer(trial, fmt.Sprintf("%s: no mistake; %s", args[0], importLine("would be", trial)))
			}
			r, err := s.Inventory.ImportParts(ctx, &inventoryv1.ImportPartsRequest{RequestId: s.once(), Csv: text})
			if err != nil {
				return err
			}
			return s.answer(r, importLine("are", r)+repeated(r.GetReceipt()))
		}),
	}
	command.Flags().BoolVar(&dry, "dry-run", false, "tell what it would do and every mistake, and change nothing")
	return command
}

// mistaken is what a dry run answers.
type mistaken interface {
	proto.Message
	GetMistakes() []*inventoryv1.ImportMistake
}

// tellMistakes prints all of them and ends with an error.
func (s *session) tellMistakes(file string, r mistaken) error {
	if s.json {
		if err := s.showJSON(r); err != nil {
			return err
		}
	} else {
		for _, m := range r.GetMistakes() {
			told := partmaster.Mistake{Line: int(m.GetLine()), Column: m.GetColumn(), Text: m.GetText()}
			if err := s.say("%s", told); err != nil {
				return err
			}
		}
	}
	return fmt.Errorf("%s has %s; correct them, nothing was changed", file, plural(len(r.GetMistakes()), "mistake"))
}

func importLine(verb string, r *inventoryv1.ImportPartsResponse) string {
	return fmt.Sprintf("%d %s new, %d changed, %d as they were", r.GetListed(), verb, r.GetChanged(), r.GetUnchanged())
}

func partsExport(o *options) *cobra.Command {
	var prefix string
	command := &cobra.Command{
		Use:     "export",
		Short:   "Write the part master as CSV, to be looked at or imported again",
		Example: "  ramprow parts export > parts.csv",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			var all []*inventoryv1.Part
			for token := ""; ; {
				r, err := s.Inventory.ListParts(ctx, &inventoryv1.ListPartsRequest{PageSize: 500, PageToken: token, Prefix: prefix, MinRevision: s.atLeast})
				if err != nil {
					return err
				}
				all = append(all, r.GetParts()...)
				if token = r.GetNextPageToken(); token == "" {
					break
				}
			}
			return partmaster.Write(s.out, all)
		}),
	}
	command.Flags().StringVar(&prefix, "prefix", "", "only numbers that begin so")
	return command
}

func partsScan(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "scan CODE",
		Short:   "Find the part whose barcode or number was scanned, and who wants it",
		Example: "  ramprow parts scan 6291041500213",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			r, err := s.Inventory.FindScanned(ctx, &inventoryv1.FindScannedRequest{Code: args[0]})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r)
			}
			c := partCard(r.GetPart())
			c.add("Held for", strings.Join(r.GetHoldingJobs(), ", "))
			c.add("Waited for by", strings.Join(r.GetWaitingJobs(), ", "))
			return c.write(s.out)
		}),
	}
}
