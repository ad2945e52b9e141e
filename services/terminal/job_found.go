package terminal

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

func jobFound(o *options) *cobra.Command {
	found := &jobv1.ReportFindingRequest{}
	var extra string
	command := &cobra.Command{
		Use:   "found JOB KIND",
		Short: "Report what was found at the car",
		Long: "Report what was found at the car. KIND is one of " + strings.Join(choices[jobv1.FindingKind](), ", ") + ".\n" +
			"A design settles which parts are needed; a second fault or a cause that is not there asks for a new\n" +
			"diagnosis; what is seized at a step is gone around where another way leads there, or takes --extra longer.",
		Example: `  ramprow job found 17 seized --piece exhaust-stud --note 'turns with the nut'
  ramprow job found 17 seized --step open.manifold-brace-off --extra 25m --note 'stud has to be drilled'
  ramprow job found 17 broken-up --piece follower-4 --missing 3
  ramprow job found 17 second-fault --cause coil-2`,
		ValidArgsFunction: completeAt(1, choices[jobv1.FindingKind]()...),
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, rest []string) (jobAnswer, string, error) {
			kind, err := choose[jobv1.FindingKind]("KIND", rest[0])
			if err != nil {
				return nil, "", err
			}
			if extra != "" {
				if found.Extra, err = parseDuration(extra); err != nil {
					return nil, "", err
				}
			}
			found.RequestId, found.Job, found.Kind = s.once(), job, kind
			r, err := s.Job.ReportFinding(ctx, found)
			return r, "finding kept: " + word(kind), err
		}),
	}
	flags := command.Flags()
	flags.StringVar(&found.Step, "step", "", "step at which it was found")
	flags.StringVar(&found.Feature, "feature", "", "design: which feature")
	flags.StringVar(&found.Value, "value", "", "design: which value")
	flags.StringVar(&found.Piece, "piece", "", "which piece")
	flags.StringVar(&found.Cause, "cause", "", "which cause")
	flags.Uint32Var(&found.PiecesMissing, "missing", 0, "broken up: how many pieces are missing from it")
	flags.StringVar(&extra, "extra", "", "seized: how much longer the step takes, as in 25m; otherwise it cannot be done")
	flags.StringVar(&found.Note, "note", "", "in words")
	flags.StringArrayVar(&found.Attachments, "photo", nil, "photo or file, by reference; may be repeated")
	return command
}

func jobDesign(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "design JOB FEATURE VALUE",
		Short:   "Say which design the open car has; what was held for others goes back",
		Example: "  ramprow job design 17 follower-retainer carrier",
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, rest []string) (jobAnswer, string, error) {
			r, err := s.Job.ReportFinding(ctx, &jobv1.ReportFindingRequest{
				RequestId: s.once(), Job: job, Kind: jobv1.FindingKind_FINDING_KIND_DESIGN, Feature: rest[0], Value: rest[1],
			})
			return r, rest[0] + " is " + rest[1], err
		}),
	}
}

func jobExplain(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "explain JOB PIECE COUNT TEXT",
		Short:   "Sign for a kept piece that does not go back",
		Example: "  ramprow job explain 17 cover-clip 1 'broke when it came off; a new one is on'",
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, rest []string) (jobAnswer, string, error) {
			count, err := parseSmall("COUNT", rest[1])
			if err != nil {
				return nil, "", err
			}
			r, err := s.Job.ExplainPiece(ctx, &jobv1.ExplainPieceRequest{
				RequestId: s.once(), Job: job, Piece: rest[0], Count: count, Explanation: rest[2],
			})
			return r, fmt.Sprintf("%d × %s explained", count, rest[0]), err
		}),
	}
}

func jobDebris(o *options) *cobra.Command {
	var found uint32
	var why string
	command := &cobra.Command{
		Use:     "debris JOB FINDING",
		Short:   "Count pieces found of a part that broke up, or sign for their absence",
		Example: "  ramprow job debris 17 f3 --found 2\n  ramprow job debris 17 f3 --found 2 --because 'the third is seen in the sump by endoscope'",
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, rest []string) (jobAnswer, string, error) {
			r, err := s.Job.SettleDebris(ctx, &jobv1.SettleDebrisRequest{
				RequestId: s.once(), Job: job, Finding: rest[0], Found: found, Explanation: why,
			})
			return r, plural(found, "piece") + " found", err
		}),
	}
	command.Flags().Uint32Var(&found, "found", 0, "pieces found in all")
	command.Flags().StringVar(&why, "because", "", "why the rest is not there; you sign for it")
	return command
}
