package terminal

import (
	"context"

	"github.com/spf13/cobra"

	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

func wrenchDue(o *options) *cobra.Command {
	var days uint32
	command := &cobra.Command{
		Use:     "due",
		Short:   "List the wrenches that need a calibration or a check, most urgent first",
		Example: "  ramprow tighten wrench due\n  ramprow tighten wrench due --within 90",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			rows, err := collect(s, 0, func(size int32, token string) ([]*torqueauditv1.WrenchDue, string, error) {
				r, err := s.Audit.ListWrenchesDue(ctx, &torqueauditv1.ListWrenchesDueRequest{
					PageSize: size, PageToken: token, WithinDays: days, MinRevision: s.atLeast,
				})
				return r.GetDue(), r.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			return showList(s, rows, "No wrench needs anything in that time.", []column[*torqueauditv1.WrenchDue]{
				left("WRENCH", func(d *torqueauditv1.WrenchDue) string { return number(d.GetWrench().GetName()) }),
				left("WHAT", func(d *torqueauditv1.WrenchDue) string { return d.GetWrench().GetTitle() }),
				left("DUE", func(d *torqueauditv1.WrenchDue) string {
					if d.GetDueAt() == nil {
						return "now"
					}
					return at(d.GetDueAt(), s.now())
				}),
				left("USABLE", func(d *torqueauditv1.WrenchDue) string {
					return map[bool]string{true: "no", false: "yes"}[d.GetOverdue()]
				}),
				left("WHY", (*torqueauditv1.WrenchDue).GetWhy),
			})
		}),
	}
	command.Flags().Uint32Var(&days, "within", 30, "days ahead")
	return command
}

func tightenResidual(o *options) *cobra.Command {
	request := &torqueauditv1.RecordResidualRequest{}
	var method, when string
	command := &cobra.Command{
		Use:   "residual JOB JOINT FASTENER",
		Short: "Keep what a tight fastener was found to hold, and by which method",
		Long: `Keep what a tight fastener was found to hold, and by which method; the methods give different figures.

  on    the torque at the first movement when tightening on
  off   the torque at the first movement when loosening; the joint has to be tightened again
  mark  marked, loosened, and the torque that brings it back to the mark

No standard says how much a fastener must hold. Without limits the value is recorded and not judged.`,
		Example: "  ramprow tighten residual 17 wheel-fl 3 --method on --wrench a1 --torque 104\n" +
			"  ramprow tighten residual 17 wheel-fl 3 --method on --wrench a1 --torque 104 --low 96 --source 'repair manual 4.2'",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, rest []string) error {
			var err error
			if request.Fastener, err = parseSmall("FASTENER", rest[1]); err != nil {
				return err
			}
			if request.At, err = optionalTime("at", when, s.now()); err != nil {
				return err
			}
			if request.Method, err = choose[torqueauditv1.ResidualMethod]("--method", method); err != nil {
				return err
			}
			request.RequestId, request.Job, request.Joint = s.once(), job, rest[0]
			request.Wrench = inCollection("wrenches", request.GetWrench())
			r, err := s.Audit.RecordResidual(ctx, request)
			if err != nil {
				return err
			}
			lines := []string{rest[0] + " " + rest[1] + ": " + r.GetResidual().GetReason() + repeated(r.GetReceipt())}
			if r.GetSheetState() == torqueauditv1.SheetState_SHEET_STATE_REOPENED {
				lines = append(lines, "The joint is open again. Next: ramprow tighten run "+number(job)+" --joint "+rest[0]+" --wrench WRENCH")
			}
			return s.answer(r, lines...)
		}),
	}
	flags := command.Flags()
	requireText(command, &request.Wrench, "wrench", "the wrench that showed it")
	requireText(command, &method, "method", "on, off or mark")
	flags.Float64Var(&request.TorqueNm, "torque", 0, "newton metres")
	flags.Float64Var(&request.LowNm, "low", 0, "least that it must hold, in newton metres")
	flags.Float64Var(&request.HighNm, "high", 0, "most that it may hold, in newton metres")
	flags.StringVar(&request.LimitSource, "source", "", "who gives the limits")
	flags.StringVar(&when, "at", "", "when, if not now")
	completeFlag(command, "method", choices[torqueauditv1.ResidualMethod]()...)
	return command
}
