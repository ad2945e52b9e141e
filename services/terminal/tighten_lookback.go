package terminal

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// doubt is one joint that a failed wrench has put in doubt.
type doubt struct {
	*torqueauditv1.LookBackLine

	of *torqueauditv1.LookBack
}

func tightenLookBacks(o *options) *cobra.Command {
	var settled bool
	command := &cobra.Command{
		Use:     "lookbacks",
		Short:   "List every joint that a wrench tightened before it failed its check, with car and customer",
		Example: "  ramprow tighten lookbacks\n  ramprow tighten lookbacks --with-settled -o json",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			found, err := collect(s, 0, func(size int32, token string) ([]*torqueauditv1.LookBack, string, error) {
				r, err := s.Audit.ListLookBacks(ctx, &torqueauditv1.ListLookBacksRequest{
					PageSize: size, PageToken: token, WithSettled: settled, MinRevision: s.atLeast,
				})
				return r.GetLookBacks(), r.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			if s.json {
				return showList(s, found, "", nil)
			}
			return s.sayLookBacks(found)
		}),
	}
	command.Flags().BoolVar(&settled, "with-settled", false, "those that are seen and checked again too")
	return command
}

func (s *session) sayLookBacks(found []*torqueauditv1.LookBack) error {
	if len(found) == 0 {
		return s.say("Nothing is in doubt: no wrench failed its check, or all of it is seen and checked again.")
	}
	for i, l := range found {
		if i > 0 {
			if err := s.say(""); err != nil {
				return err
			}
		}
		if err := s.sayLookBack(l); err != nil {
			return err
		}
	}
	return nil
}

// sayLookBack tells one look-back, line by line.
func (s *session) sayLookBack(l *torqueauditv1.LookBack) error {
	good := "never known good before"
	if l.GetGoodAt() != nil {
		good = "last known good " + at(l.GetGoodAt(), s.now())
	}
	if err := s.say("%s: %s (%s) failed its check %s, %s; %d of %s still to be checked again", number(l.GetName()), l.GetWrenchTitle(),
		number(l.GetWrench()), at(l.GetFailedAt(), s.now()), good, l.GetOpen(), plural(len(l.GetLines()), "joint")); err != nil {
		return err
	}
	rows := make([]doubt, len(l.GetLines()))
	for i, line := range l.GetLines() {
		rows[i] = doubt{line, l}
	}
	if len(rows) > 0 {
		if err := writeTable(s.out, rows, doubtColumns(s)); err != nil {
			return err
		}
	}
	if l.GetSeenBy() == "" {
		return s.say("Not seen by the owner yet. Next: ramprow tighten seen %s --as owner", number(l.GetName()))
	}
	return s.say("Seen by %s, %s.", l.GetSeenBy(), at(l.GetSeenAt(), s.now()))
}

func doubtColumns(s *session) []column[doubt] {
	return []column[doubt]{
		figure("JOB", func(d doubt) string { return number(d.GetJob()) }),
		left("CAR", func(d doubt) string { return d.GetVehicle() }),
		left("CUSTOMER", func(d doubt) string { return d.GetCustomer() }),
		left("JOINT", func(d doubt) string { return d.GetJoint() }),
		left("WHAT", func(d doubt) string { return d.GetTitle() }),
		figure("READINGS", func(d doubt) string { return figures(d.GetReadings()) }),
		left("LAST", func(d doubt) string { return at(d.GetLastAt(), s.now()) }),
		left("WAS SIGNED", func(d doubt) string { return map[bool]string{true: "yes", false: "no"}[d.GetWasComplete()] }),
		left("NOW", func(d doubt) string {
			if d.GetCannotReopen() != "" {
				return "not opened again: " + d.GetCannotReopen()
			}
			return word(d.GetNow())
		}),
	}
}

func tightenSeen(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "seen LOOKBACK",
		Short:   "Say, as the owner, that you know which joints a failed wrench has put in doubt",
		Example: "  ramprow tighten seen 3 --as owner",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			name, err := numbered("lookbacks", "look-back", args[0])
			if err != nil {
				return err
			}
			r, err := s.Audit.MarkLookBackSeen(ctx, &torqueauditv1.MarkLookBackSeenRequest{RequestId: s.once(), LookBack: name})
			if err != nil {
				return err
			}
			return s.answer(r, fmt.Sprintf("%s: seen by %s%s", name, r.GetLookBack().GetSeenBy(), repeated(r.GetReceipt())))
		}),
	}
}

// doubtLine tells who recorded a failed check what it means.
func doubtLine(l *torqueauditv1.LookBack) []string {
	switch {
	case l == nil:
		return nil
	case len(l.GetLines()) == 0:
		return []string{"No joint rests on it since it was last known good."}
	default:
		return []string{fmt.Sprintf("%s must be checked again. See: ramprow tighten lookbacks", plural(len(l.GetLines()), "joint"))}
	}
}
