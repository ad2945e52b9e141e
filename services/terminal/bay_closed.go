package terminal

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func bayClosed(o *options) *cobra.Command {
	parent := group("closed", "Days on which the site is closed", "  ramprow bay closed list\n  ramprow bay closed set founder --title 'Founder’s Day' --first 2026-05-04 --yearly")
	parent.AddCommand(closedList(o), closedSet(o), closedRemove(o))
	return parent
}

func closedList(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "list",
		Short:   "List the closed days",
		Example: "  ramprow bay closed list",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			r, err := s.Scheduling.ListClosedDays(ctx, &schedulingv1.ListClosedDaysRequest{MinRevision: s.atLeast})
			if err != nil {
				return err
			}
			return showList(s, r.GetClosedDays(), "The site is never closed. Close it: ramprow bay closed set ID --title NAME --first DAY", []column[*schedulingv1.ClosedDay]{
				left("NAME", func(c *schedulingv1.ClosedDay) string { return number(c.GetName()) }),
				left("WHAT", (*schedulingv1.ClosedDay).GetTitle),
				left("FIRST", (*schedulingv1.ClosedDay).GetFirst),
				left("LAST", (*schedulingv1.ClosedDay).GetLast),
				left("AGAIN", func(c *schedulingv1.ClosedDay) string {
					if c.GetYearly() {
						return "every year"
					}
					return ""
				}),
				left("FOR", closedFor),
			})
		}),
	}
}

func closedFor(c *schedulingv1.ClosedDay) string {
	var words []string
	for _, k := range c.GetKinds() {
		words = append(words, word(k))
	}
	return orWord(strings.Join(words, ", "), "all")
}

// closedDay is what the flags of `bay closed set` fill.
type closedDay struct {
	title, first, last          string
	only                        []string
	yearly, movePinned, preview bool
}

func closedSet(o *options) *cobra.Command {
	in := &closedDay{}
	command := &cobra.Command{
		Use:   "set ID",
		Short: "Close the site on a day or several; what lies there is moved",
		Long: "Nobody works on a closed day: work pauses as over a night, and a car stays in its bay. Where pinned\n" +
			"bookings would have to move it is refused and they are named, unless --move-pinned is given.",
		Example: "  ramprow bay closed set founder --title 'Founder’s Day' --first 2026-05-04 --yearly\n" +
			"  ramprow bay closed set stocktaking --title Stocktaking --first 2026-12-30 --last 2026-12-31 --only person --preview",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			day, err := in.message(s, args[0])
			if err != nil {
				return err
			}
			r, err := s.Scheduling.SetClosedDays(ctx, &schedulingv1.SetClosedDaysRequest{
				RequestId: s.once(), ClosedDays: []*schedulingv1.ClosedDay{day}, MovePinned: in.movePinned, ValidateOnly: in.preview,
			})
			if err != nil {
				return err
			}
			line := fmt.Sprintf("%s is closed: %s", day.GetFirst(), plural(len(r.GetChanges()), "booking")+" moved"+repeated(r.GetReceipt()))
			return s.answer(r, consequence(s, line, r.GetChanges(), in.preview)...)
		}),
	}
	requireText(command, &in.title, "title", "what people call it")
	requireText(command, &in.first, "first", "the first day, as in 2026-05-04")
	flags := command.Flags()
	flags.StringVar(&in.last, "last", "", "the last day; otherwise it is one day")
	flags.BoolVar(&in.yearly, "yearly", false, "from then on every year on the same date")
	flags.StringSliceVar(&in.only, "only", nil, "close only "+strings.Join(choices[schedulingv1.ResourceKind](), ", ")+"; may be repeated")
	flags.BoolVar(&in.movePinned, "move-pinned", false, "move pinned bookings, too")
	previewFlag(command, &in.preview)
	completeFlag(command, "only", choices[schedulingv1.ResourceKind]()...)
	return command
}

func (in *closedDay) message(s *session, id string) (*schedulingv1.ClosedDay, error) {
	day := &schedulingv1.ClosedDay{Name: inCollection("closed-days", id), Title: in.title, Yearly: in.yearly}
	var err error
	if day.First, err = dateOf("first", in.first, s.now()); err != nil {
		return nil, err
	}
	if day.Last, err = dateOf("last", in.last, s.now()); err != nil {
		return nil, err
	}
	for _, text := range in.only {
		kind, err := choose[schedulingv1.ResourceKind]("--only", text)
		if err != nil {
			return nil, err
		}
		day.Kinds = append(day.Kinds, kind)
	}
	return day, nil
}

func closedRemove(o *options) *cobra.Command {
	var preview bool
	command := &cobra.Command{
		Use:     "remove ID",
		Short:   "Open the site on it again",
		Example: "  ramprow bay closed remove founder",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			r, err := s.Scheduling.RemoveClosedDay(ctx, &schedulingv1.RemoveClosedDayRequest{
				RequestId: s.once(), Name: inCollection("closed-days", args[0]), ValidateOnly: preview,
			})
			if err != nil {
				return err
			}
			return s.answer(r, consequence(s, args[0]+" is open again"+repeated(r.GetReceipt()), r.GetChanges(), preview)...)
		}),
	}
	previewFlag(command, &preview)
	return command
}

func previewFlag(command *cobra.Command, target *bool) {
	command.Flags().BoolVar(target, "preview", false, "show the consequence only")
}

// consequence is what a command says: what it did and what moved, or what would move.
func consequence(s *session, done string, changes []*schedulingv1.Change, preview bool) []string {
	if preview {
		return append(changeLines(s, changes), previewed)
	}
	return append([]string{done}, changeLines(s, changes)...)
}
