package terminal

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func bayOvertime(o *options) *cobra.Command {
	parent := group("overtime", "Working time beyond the shifts", "  ramprow bay overtime plan people/tomas --from 'today 17:00' --to 'today 19:00' --reason 'a promise to keep'")
	parent.AddCommand(overtimePlan(o), overtimeWithdraw(o))
	return parent
}

func overtimePlan(o *options) *cobra.Command {
	var from, to, reason string
	var preview bool
	command := &cobra.Command{
		Use:     "plan NAME",
		Short:   "Let somebody work longer, or on a closed day; what waits may use it at once",
		Example: "  ramprow bay overtime plan people/tomas --from 'today 17:00' --to 'today 19:00' --reason 'a promise to keep' --preview",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			when, err := parseInterval(from, to, s.now())
			if err != nil {
				return err
			}
			r, err := s.Scheduling.PlanOvertime(ctx, &schedulingv1.PlanOvertimeRequest{
				RequestId: s.once(), Resource: args[0], When: when, Reason: reason, ValidateOnly: preview,
			})
			if err != nil {
				return err
			}
			line := fmt.Sprintf("%s works longer %s; %s moved%s", args[0], during(when, s.now()), plural(len(r.GetChanges()), "booking"), repeated(r.GetReceipt()))
			return s.answer(r, consequence(s, line, r.GetChanges(), preview)...)
		}),
	}
	requireText(command, &from, "from", "from this time")
	requireText(command, &to, "to", "until this time")
	requireText(command, &reason, "reason", "why")
	previewFlag(command, &preview)
	return command
}

func overtimeWithdraw(o *options) *cobra.Command {
	var preview bool
	command := &cobra.Command{
		Use:     "withdraw NAME OVERTIME",
		Short:   "Take overtime back; what lay there is moved",
		Example: "  ramprow bay overtime withdraw people/tomas overtime-3",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			r, err := s.Scheduling.WithdrawOvertime(ctx, &schedulingv1.WithdrawOvertimeRequest{
				RequestId: s.once(), Resource: args[0], Overtime: args[1], ValidateOnly: preview,
			})
			if err != nil {
				return err
			}
			return s.answer(r, consequence(s, args[1]+" of "+args[0]+" is withdrawn"+repeated(r.GetReceipt()), r.GetChanges(), preview)...)
		}),
	}
	previewFlag(command, &preview)
	return command
}

func overtimeWords(r *schedulingv1.Resource, now time.Time) []string {
	var words []string
	for _, o := range r.GetOvertime() {
		words = append(words, fmt.Sprintf("%s %s: %s", o.GetId(), during(o.GetWhen(), now), o.GetReason()))
	}
	return words
}
