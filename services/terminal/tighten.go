package terminal

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

func tightenCommands() *cobra.Command {
	return tree("tighten", "Prove by wrench, not by gun, that every joint is tight",
		"  ramprow tighten next 17\n  ramprow tighten run 17 --wrench w1,a1",
		tightenSheets, tightenSheet, tightenNext, tightenPost, tightenRun,
		tightenCorrect, tightenDepart, tightenSign, tightenReopen,
		tightenWrenches, tightenWrench, tightenWatch,
		tightenRecord, tightenVerify, tightenLookBacks, tightenSeen, tightenResidual, tightenCurve, tightenStats, tightenWaiting, tightenSend,
		tightenRechecks, tightenRecheck, tightenWaive, tightenRenew,
	)
}

func tightenSheets(o *options) *cobra.Command {
	var finished bool
	var limit int
	command := &cobra.Command{
		Use:     "sheets",
		Short:   "List tightening audits, newest job first",
		Example: "  ramprow tighten sheets",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			rows, err := collect(s, limit, func(size int32, token string) ([]*torqueauditv1.SheetSummary, string, error) {
				r, err := s.Audit.ListSheets(ctx, &torqueauditv1.ListSheetsRequest{
					PageSize: size, PageToken: token, WithFinished: finished, MinRevision: s.atLeast,
				})
				return r.GetSheets(), r.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			return showList(s, rows, "No audit is open. A confirmed diagnosis opens one.", []column[*torqueauditv1.SheetSummary]{
				figure("JOB", func(x *torqueauditv1.SheetSummary) string { return number(x.GetJob()) }),
				left("STATE", func(x *torqueauditv1.SheetSummary) string { return word(x.GetState()) }),
				figure("PROVED", func(x *torqueauditv1.SheetSummary) string { return figures(x.GetJointsProved()) }),
				figure("JOINTS", func(x *torqueauditv1.SheetSummary) string { return figures(x.GetJointsDue()) }),
				left("NEXT", (*torqueauditv1.SheetSummary).GetNext),
			})
		}),
	}
	command.Flags().BoolVar(&finished, "with-finished", false, "complete and void ones too")
	limitFlag(command, &limit)
	return command
}

func tightenSheet(o *options) *cobra.Command {
	var readings bool
	command := &cobra.Command{
		Use:     "sheet JOB",
		Short:   "Show a job's tightening audit, joint by joint",
		Example: "  ramprow tighten sheet 17\n  ramprow tighten sheet 17 --readings",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, _ []string) error {
			r, err := s.Audit.GetSheet(ctx, &torqueauditv1.GetSheetRequest{Job: job, MinRevision: s.atLeast})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r.GetSheet())
			}
			return s.showSheet(r.GetSheet(), readings)
		}),
	}
	command.Flags().BoolVar(&readings, "readings", false, "every reading too")
	return command
}

func (s *session) showSheet(sheet *torqueauditv1.Sheet, readings bool) error {
	if err := showList(s, sheet.GetJoints(), "This job tightens nothing.", jointColumns()); err != nil {
		return err
	}
	if readings {
		var all []*torqueauditv1.Reading
		for _, j := range sheet.GetJoints() {
			all = append(all, j.GetReadings()...)
		}
		if err := s.say(""); err != nil {
			return err
		}
		if err := showList(s, all, "No reading yet.", readingColumns(s)); err != nil {
			return err
		}
	}
	return s.say("\n%s", sheetLine(sheet))
}

func jointColumns() []column[*torqueauditv1.JointSheet] {
	return []column[*torqueauditv1.JointSheet]{
		left("JOINT", func(j *torqueauditv1.JointSheet) string { return j.GetDue().GetJoint() }),
		left("WHAT", func(j *torqueauditv1.JointSheet) string { return j.GetDue().GetTitle() }),
		left("STATE", func(j *torqueauditv1.JointSheet) string { return word(j.GetState()) }),
		figure("FASTENERS", func(j *torqueauditv1.JointSheet) string { return figures(j.GetDue().GetFasteners()) }),
		left("THREAD", func(j *torqueauditv1.JointSheet) string { return j.GetDue().GetThread() }),
		left("CLAMPS kN", func(j *torqueauditv1.JointSheet) string { return clamping(j.GetPreload()) }),
		left("USES", usesText),
		figure("READINGS", func(j *torqueauditv1.JointSheet) string { return figures(int64(len(j.GetReadings()))) }),
		left("CHECK AGAIN", recheckText),
		left("NEXT", func(j *torqueauditv1.JointSheet) string { return j.GetNext().GetSay() }),
		left("DEPARTURE", func(j *torqueauditv1.JointSheet) string {
			if d := j.GetDeparture(); d != nil {
				return fmt.Sprintf("%s (%s, %s)", d.GetReason(), d.GetFirstPerson(), d.GetSecondPerson())
			}
			return ""
		}),
	}
}

func readingColumns(s *session) []column[*torqueauditv1.Reading] {
	return []column[*torqueauditv1.Reading]{
		figure("NO", func(r *torqueauditv1.Reading) string { return figures(r.GetNumber()) }),
		left("JOINT", (*torqueauditv1.Reading).GetJoint),
		figure("FASTENER", func(r *torqueauditv1.Reading) string { return figures(r.GetFastener()) }),
		figure("STAGE", func(r *torqueauditv1.Reading) string { return figures(r.GetStage()) }),
		figure("N·m", func(r *torqueauditv1.Reading) string { return measure(r.GetTorqueNm()) }),
		left("AS GIVEN", func(r *torqueauditv1.Reading) string {
			return strings.TrimSpace(measure(r.GetGivenTorque()) + " " + r.GetGivenUnit())
		}),
		figure("DEGREES", func(r *torqueauditv1.Reading) string { return measure(r.GetAngleDeg()) }),
		left("WRENCH", func(r *torqueauditv1.Reading) string { return number(r.GetWrench()) }),
		left("VERDICT", func(r *torqueauditv1.Reading) string { return word(r.GetVerdict()) }),
		left("COUNTS", func(r *torqueauditv1.Reading) string { return map[bool]string{true: "yes", false: "no"}[r.GetCounts()] }),
		left("BY", (*torqueauditv1.Reading).GetBy),
		left("AT", func(r *torqueauditv1.Reading) string { return at(r.GetAt(), s.now()) }),
		left("WHY", (*torqueauditv1.Reading).GetReason),
	}
}

// measure writes a figure; nothing where there is none.
func measure(v float64) string {
	if v == 0 {
		return ""
	}
	return fmt.Sprintf("%g", v)
}

func sheetLine(sheet *torqueauditv1.Sheet) string {
	n := number(sheet.GetJob())
	line := fmt.Sprintf("%s: tightening %s, %d of %d joints proved", sheet.GetJob(), word(sheet.GetState()), sheet.GetJointsProved(), sheet.GetJointsDue())
	switch sheet.GetState() {
	case torqueauditv1.SheetState_SHEET_STATE_OPEN, torqueauditv1.SheetState_SHEET_STATE_REOPENED:
		return line + ". Next: ramprow tighten run " + n + " --wrench WRENCH"
	case torqueauditv1.SheetState_SHEET_STATE_TO_SIGN:
		return line + ". Next: ramprow tighten sign " + n
	case torqueauditv1.SheetState_SHEET_STATE_COMPLETE:
		return line + ", signed by " + sheet.GetSignedBy()
	case torqueauditv1.SheetState_SHEET_STATE_VOID, torqueauditv1.SheetState_SHEET_STATE_UNSPECIFIED:
	}
	return line
}

func tightenNext(o *options) *cobra.Command {
	var text string
	command := &cobra.Command{
		Use:     "next JOB [JOINT]",
		Short:   "Say which fastener comes next, at which stage, and how",
		Example: "  ramprow tighten next 17\n  ramprow tighten next 17 valve-cover --adapter 450,50,0",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, rest []string) error {
			adapter, err := parseAdapter(text)
			if err != nil {
				return err
			}
			r, err := s.Audit.GetNextTurn(ctx, &torqueauditv1.GetNextTurnRequest{
				Job: job, Joint: strings.Join(rest, ""), MinRevision: s.atLeast, Adapter: adapter,
			})
			if err != nil {
				return err
			}
			if r.GetNext() == nil {
				return s.answer(r, append([]string{"Nothing to tighten now."}, r.GetLeft()...)...)
			}
			return s.answer(r, turnLine(r.GetNext()))
		}),
	}
	command.Flags().StringVar(&text, "adapter", "", adapterHelp)
	return command
}

func turnLine(t *torqueauditv1.NextTurn) string {
	line := fmt.Sprintf("%s (%s): %s; %d left in this round", t.GetTitle(), t.GetJoint(), t.GetSay(), t.GetLeft())
	if t.GetSettingNm() > 0 {
		line += fmt.Sprintf("; with the adapter set the wrench to %.4g N·m", t.GetSettingNm())
	}
	return line
}

func tightenPost(o *options) *cobra.Command {
	request := &torqueauditv1.PostReadingRequest{}
	var when, adapter, unit string
	var torque float64
	var command *cobra.Command
	command = &cobra.Command{
		Use:     "post JOB JOINT FASTENER",
		Short:   "Keep what a wrench did to one fastener, and judge it",
		Example: "  ramprow tighten post 17 valve-cover 3 --wrench w1 --torque 10\n  ramprow tighten post 17 head 1 --wrench a1 --torque 40 --angle 90\n  ramprow tighten post 17 sump 2 --wrench w2 --torque 97 --unit lbf·in",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, rest []string) error {
			fastener, err := parseSmall("FASTENER", rest[1])
			if err != nil {
				return err
			}
			at, err := optionalTime("at", when, s.now())
			if err != nil {
				return err
			}
			if request.Adapter, err = parseAdapter(adapter); err != nil {
				return err
			}
			request.RequestId, request.Job, request.Joint, request.Fastener, request.At = s.once(), job, rest[0], fastener, at
			request.Wrench = inCollection("wrenches", request.GetWrench())
			giveTorque(torque, unit, &request.TorqueNm, &request.Torque)
			// Under an id that was given, the same is sent again: its time is part of it.
			if request.GetAt() == nil && !command.Flags().Changed("request-id") {
				request.At = timestamppb.New(s.now())
			}
			r, err := s.keepReading(ctx, request)
			if err != nil {
				return err
			}
			return s.answer(r, readingLine(r)+repeated(r.GetReceipt()), afterReading(r, number(job)))
		}),
	}
	flags := command.Flags()
	requireText(command, &request.Wrench, "wrench", "the wrench that did it")
	torqueFlags(flags, &torque, &unit)
	flags.StringVar(&adapter, "adapter", "", adapterHelp)
	flags.Float64Var(&request.AngleDeg, "angle", 0, "degrees")
	flags.BoolVar(&request.Moved, "moved", false, "it turned before the click")
	flags.Uint32Var(&request.Stage, "stage", 0, "stage, from 1; otherwise the one that is due")
	flags.StringVar(&when, "at", "", "when, if not now")
	return command
}

// readingLine is the verdict on one reading.
func readingLine(r *torqueauditv1.PostReadingResponse) string {
	reading := r.GetReading()
	line := fmt.Sprintf("%s %d: %s", reading.GetJoint(), reading.GetFastener(), word(reading.GetVerdict()))
	if !reading.GetCounts() {
		return line + "; kept, and does not count: " + reading.GetReason()
	}
	if reading.GetMoved() {
		line += ", moved"
	}
	if r.GetJointProved() {
		line += "; the joint is proved"
	}
	return line
}

func afterReading(r *torqueauditv1.PostReadingResponse, n string) string {
	switch {
	case r.GetNext() != nil:
		return "Next: " + turnLine(r.GetNext())
	case r.GetSheetState() == torqueauditv1.SheetState_SHEET_STATE_TO_SIGN:
		return "Next: ramprow tighten sign " + n
	default:
		return strings.Join(r.GetLeft(), "\n")
	}
}

func tightenWatch(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "watch JOB",
		Short:   "Follow a job's tightening audit, until Ctrl-C",
		Example: "  ramprow tighten watch 17",
		RunE: o.follow(func(ctx context.Context, s *session, args []string) error {
			job, err := jobName(args[0])
			if err != nil {
				return err
			}
			stream, err := s.Audit.WatchSheet(ctx, &torqueauditv1.WatchSheetRequest{Job: job})
			if err != nil {
				return err
			}
			return watch(ctx, s, stream.Recv, func(r *torqueauditv1.WatchSheetResponse) string {
				readings := 0
				for _, j := range r.GetSheet().GetJoints() {
					readings += len(j.GetReadings())
				}
				return fmt.Sprintf("%s, %s", sheetLine(r.GetSheet()), plural(readings, "reading"))
			})
		}),
	}
}
