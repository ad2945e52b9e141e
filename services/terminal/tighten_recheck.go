package terminal

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"google.golang.org/protobuf/types/known/timestamppb"

	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// torqueFlags are those of a torque that a wrench was set to or showed.
func torqueFlags(flags *pflag.FlagSet, torque *float64, unit *string) {
	flags.Float64Var(torque, "torque", 0, "what the wrench was set to or showed, in newton metres or the --unit")
	flags.StringVar(unit, "unit", "", "another unit of torque, as in lbf·ft, lbf·in, ozf·in, kgf·m or kgf·cm; it is converted and kept as given")
}

// giveTorque puts a torque into the fields of a request.
func giveTorque(torque float64, unit string, newtonMetres *float64, as **torqueauditv1.GivenTorque) {
	entry{torque: torque, given: given{value: torque, unit: unit}}.giveTo(newtonMetres, as)
}

func tightenRechecks(o *options) *cobra.Command {
	return &cobra.Command{
		Use:   "rechecks",
		Short: "List the joints to be checked again now that the car has run, most urgent first",
		Long: `List the joints to be checked again now that the car has run, as wheel fixings, most urgent first.

A joint whose specification asks for it comes here when its sheet is signed. One that did not hold stays
first until it is tight again. No invoice waits for it.`,
		Example: "  ramprow tighten rechecks",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			rows, err := collect(s, 0, func(size int32, token string) ([]*torqueauditv1.JointRecheck, string, error) {
				r, err := s.Audit.ListRechecks(ctx, &torqueauditv1.ListRechecksRequest{PageSize: size, PageToken: token, MinRevision: s.atLeast})
				return r.GetRechecks(), r.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			return showList(s, rows, "Nothing is to be checked again.", []column[*torqueauditv1.JointRecheck]{
				figure("JOB", func(r *torqueauditv1.JointRecheck) string { return number(r.GetJob()) }),
				left("CAR", (*torqueauditv1.JointRecheck).GetVehicle),
				left("CUSTOMER", (*torqueauditv1.JointRecheck).GetCustomer),
				left("JOINT", (*torqueauditv1.JointRecheck).GetJoint),
				left("WHAT", (*torqueauditv1.JointRecheck).GetTitle),
				figure("N·m", func(r *torqueauditv1.JointRecheck) string { return measure(r.GetTorqueNm()) }),
				left("DUE", func(r *torqueauditv1.JointRecheck) string { return at(r.GetDueAt(), s.now()) }),
				left("STATE", func(r *torqueauditv1.JointRecheck) string { return recheckState(r) }),
			})
		}),
	}
}

// recheckState says where a re-check stands, with what it waits for.
func recheckState(r *torqueauditv1.JointRecheck) string {
	switch {
	case r.GetState() == torqueauditv1.RecheckState_RECHECK_STATE_DUE && r.GetReminded():
		return "overdue: " + r.GetSays()
	case r.GetState() == torqueauditv1.RecheckState_RECHECK_STATE_DUE:
		return r.GetSays()
	default:
		return strings.TrimSuffix(word(r.GetState())+": "+r.GetReason(), ": ")
	}
}

// recheckText is the last re-check of a joint in a word or two.
func recheckText(j *torqueauditv1.JointSheet) string {
	if n := len(j.GetRechecks()); n > 0 {
		return recheckState(j.GetRechecks()[n-1])
	}
	return ""
}

// clamping is a preload with its scatter, in kilonewtons.
func clamping(p *torqueauditv1.PreloadEstimate) string {
	if p == nil {
		return ""
	}
	const kilo = 1000
	return fmt.Sprintf("%.3g to %.3g (±%.2g %%)", p.GetLowN()/kilo, p.GetHighN()/kilo, p.GetScatterPercent())
}

// usesText is how often each fastener was used, and how often it may be.
func usesText(j *torqueauditv1.JointSheet) string {
	if j.GetDue().GetUses() == 0 {
		return ""
	}
	counts := make([]string, len(j.GetUses()))
	for i, n := range j.GetUses() {
		counts[i] = figures(n)
	}
	return strings.Join(counts, " ") + " of " + figures(j.GetDue().GetUses())
}

func tightenRecheck(o *options) *cobra.Command {
	request := &torqueauditv1.PostRecheckReadingRequest{}
	var when, adapter, unit string
	var torque float64
	var command *cobra.Command
	command = &cobra.Command{
		Use:   "recheck JOB JOINT FASTENER",
		Short: "Keep what a wrench found at one fastener once the car has run",
		Long: `Keep what a wrench found at one fastener once the car has run. Go on in the tightening direction and slacken
nothing first: no fastener may move before the click. One that does opens the joint again from its first stage,
and the owner is told.`,
		Example: "  ramprow tighten recheck 17 wheel-right 1 --wrench w3 --torque 120 --odometer 90061\n" +
			"  ramprow tighten recheck 17 wheel-right 2 --wrench w3 --torque 88.5 --unit lbf·ft --moved",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, rest []string) error {
			var err error
			if request.Fastener, err = parseSmall("FASTENER", rest[1]); err != nil {
				return err
			}
			if request.At, err = optionalTime("at", when, s.now()); err != nil {
				return err
			}
			if request.Adapter, err = parseAdapter(adapter); err != nil {
				return err
			}
			request.RequestId, request.Job, request.Joint = s.once(), job, rest[0]
			request.Wrench = inCollection("wrenches", request.GetWrench())
			giveTorque(torque, unit, &request.TorqueNm, &request.Torque)
			if request.GetAt() == nil && !command.Flags().Changed("request-id") {
				request.At = timestamppb.New(s.now())
			}
			r, err := s.Audit.PostRecheckReading(ctx, request)
			if err != nil {
				return err
			}
			return s.answer(r, recheckLines(r, number(job))...)
		}),
	}
	flags := command.Flags()
	requireText(command, &request.Wrench, "wrench", "the wrench that tried it")
	torqueFlags(flags, &torque, &unit)
	flags.StringVar(&adapter, "adapter", "", adapterHelp)
	flags.BoolVar(&request.Moved, "moved", false, "it turned before the click")
	flags.Float64Var(&request.OdometerKm, "odometer", 0, "kilometres that the odometer shows now, if it was read")
	flags.StringVar(&when, "at", "", "when, if not now")
	return command
}

func recheckLines(r *torqueauditv1.PostRecheckReadingResponse, job string) []string {
	reading, recheck := r.GetReading(), r.GetRecheck()
	lines := []string{fmt.Sprintf("%s %d: %s%s", reading.GetJoint(), reading.GetFastener(), reading.GetReason(), repeated(r.GetReceipt()))}
	switch recheck.GetState() {
	case torqueauditv1.RecheckState_RECHECK_STATE_HELD:
		return append(lines, recheck.GetTitle()+" held: no fastener moved")
	case torqueauditv1.RecheckState_RECHECK_STATE_FAILED:
		return append(lines, "The joint is open again. Next: ramprow tighten run "+job+" --joint "+reading.GetJoint()+" --wrench WRENCH")
	default:
		tried := map[uint32]bool{}
		for _, x := range recheck.GetReadings() {
			tried[x.GetFastener()] = tried[x.GetFastener()] || x.GetCounts()
		}
		var left []string
		for f := uint32(1); f <= recheck.GetFasteners(); f++ {
			if !tried[f] {
				left = append(left, figures(f))
			}
		}
		return append(lines, "Left to try: "+strings.Join(left, ", "))
	}
}

func tightenWaive(o *options) *cobra.Command {
	var reason string
	command := &cobra.Command{
		Use:     "waive JOB JOINT",
		Short:   "End a re-check that will not be done here, by name and with a reason",
		Example: "  ramprow tighten waive 17 wheel-right --reason 'done elsewhere, says the customer'",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, rest []string) error {
			r, err := s.Audit.WaiveRecheck(ctx, &torqueauditv1.WaiveRecheckRequest{RequestId: s.once(), Job: job, Joint: rest[0], Reason: reason})
			if err != nil {
				return err
			}
			return s.answer(r, fmt.Sprintf("%s of %s: re-check %s by %s%s", rest[0], job, word(r.GetRecheck().GetState()), r.GetRecheck().GetEndedBy(), repeated(r.GetReceipt())))
		}),
	}
	requireText(command, &reason, "reason", "why it will not be done here")
	return command
}

func tightenRenew(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "renew JOB JOINT [FASTENER...]",
		Short:   "Say that new fasteners were put in, so that their uses count from the beginning; without numbers: all",
		Example: "  ramprow tighten renew 17 head\n  ramprow tighten renew 17 head 3 8",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, rest []string) error {
			request := &torqueauditv1.RenewFastenersRequest{RequestId: s.once(), Job: job, Joint: rest[0]}
			for _, text := range rest[1:] {
				f, err := parseSmall("FASTENER", text)
				if err != nil {
					return err
				}
				request.Fasteners = append(request.Fasteners, f)
			}
			r, err := s.Audit.RenewFasteners(ctx, request)
			if err != nil {
				return err
			}
			return s.answer(r, sheetLine(r.GetSheet())+repeated(r.GetReceipt()))
		}),
	}
}
