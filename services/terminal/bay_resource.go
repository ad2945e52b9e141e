package terminal

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ramprow/internal/platform/fault"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func bayList(o *options) *cobra.Command {
	var kind string
	var limit int
	command := &cobra.Command{
		Use:     "list",
		Short:   "List bays, people and special tools",
		Example: "  ramprow bay list\n  ramprow bay list --kind person",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			wanted, err := chooseOptional[schedulingv1.ResourceKind]("--kind", kind)
			if err != nil {
				return err
			}
			rows, err := s.resources(ctx, limit, wanted)
			if err != nil {
				return err
			}
			return showList(s, rows, "Nothing is registered. Begin with a bay: ramprow bay set bays/1 --title 'Bay 1' --type KIND", resourceColumns(s.now()))
		}),
	}
	command.Flags().StringVar(&kind, "kind", "", "only "+strings.Join(choices[schedulingv1.ResourceKind](), ", "))
	completeFlag(command, "kind", choices[schedulingv1.ResourceKind]()...)
	limitFlag(command, &limit)
	return command
}

func (s *session) resources(ctx context.Context, limit int, kind schedulingv1.ResourceKind) ([]*schedulingv1.Resource, error) {
	return collect(s, limit, func(size int32, token string) ([]*schedulingv1.Resource, string, error) {
		r, err := s.Scheduling.ListResources(ctx, &schedulingv1.ListResourcesRequest{PageSize: size, PageToken: token, Kind: kind, MinRevision: s.atLeast})
		return r.GetResources(), r.GetNextPageToken(), err
	})
}

func resourceColumns(now time.Time) []column[*schedulingv1.Resource] {
	return []column[*schedulingv1.Resource]{
		left("NAME", (*schedulingv1.Resource).GetName),
		left("WHAT", (*schedulingv1.Resource).GetTitle),
		left("TYPE", (*schedulingv1.Resource).GetType),
		left("SKILLS", func(r *schedulingv1.Resource) string { return strings.Join(skillWords(r, now), ", ") }),
		left("SHIFTS", func(r *schedulingv1.Resource) string {
			return orWord(strings.Join(append(shiftWords(r.GetShifts()), rosterWords(r)...), ", "), "always")
		}),
		left("LONGER", func(r *schedulingv1.Resource) string { return strings.Join(overtimeWords(r, now), "; ") }),
		left("OUT", func(r *schedulingv1.Resource) string { return strings.Join(blockWords(r, now), "; ") }),
	}
}

func skillWords(r *schedulingv1.Resource, now time.Time) []string {
	var words []string
	for _, q := range r.GetSkills() {
		w := q.GetSkill()
		if q.GetExpires() != nil {
			w += " until " + at(q.GetExpires(), now)
		}
		words = append(words, w)
	}
	return words
}

func blockWords(r *schedulingv1.Resource, now time.Time) []string {
	var words []string
	if r.GetRetired() {
		words = append(words, "retired")
	}
	for _, b := range r.GetBlocks() {
		words = append(words, fmt.Sprintf("%s %s: %s", b.GetId(), during(b.GetWhen(), now), awayWord(b)))
	}
	return append(words, maintenanceWords(r)...)
}

// resourceChange is what the flags of `bay set` fill.
type resourceChange struct {
	title, kind      string
	skills, shifts   []string
	retired, forever bool
	preview          bool
}

func baySet(o *options) *cobra.Command {
	in := &resourceChange{}
	command := &cobra.Command{
		Use:   "set NAME",
		Short: "Register a bay, a person or a tool, or change it; flags that are left out stay",
		Example: `  ramprow bay set bays/1 --title 'Bay 1' --type two-post
  ramprow bay set people/tomas --title Tomas --skill petrol,timing --shift mon-fri=08:00-16:30
  ramprow bay set people/rosa --skill 'refrigerant until 2027-01-31' --preview
  ramprow bay set tools/cam-lock --title 'Camshaft lock' --type cam-lock`,
	}
	command.RunE = o.run(func(ctx context.Context, s *session, args []string) error {
		resource, err := s.resourceOrNew(ctx, args[0])
		if err != nil {
			return err
		}
		if err := in.apply(resource, s.now(), command.Flags().Changed); err != nil {
			return err
		}
		r, err := s.Scheduling.SetResource(ctx, &schedulingv1.SetResourceRequest{
			RequestId: s.once(), Resource: resource, ValidateOnly: in.preview,
		})
		if err != nil {
			return err
		}
		lines := append([]string{r.GetResource().GetName() + ": kept" + repeated(r.GetReceipt())}, changeLines(s, r.GetChanges())...)
		if in.preview {
			lines = append(lines[1:], previewed)
		}
		return s.answer(r, lines...)
	})
	flags := command.Flags()
	flags.StringVar(&in.title, "title", "", "what people call it")
	flags.StringVar(&in.kind, "type", "", "for a bay its kind in the catalogue, for a tool the catalogue's tool")
	flags.StringSliceVar(&in.skills, "skill", nil, "what a person can do, or a licence with the day it ends; may be repeated")
	flags.StringArrayVar(&in.shifts, "shift", nil, "when it can be used, as in mon-fri=08:00-16:30; may be repeated")
	flags.BoolVar(&in.forever, "always", false, "can be used at any time: no shifts")
	flags.BoolVar(&in.retired, "retired", false, "is not used any more")
	flags.BoolVar(&in.preview, "preview", false, "show the consequence only")
	command.MarkFlagsMutuallyExclusive("shift", "always")
	return command
}

// resourceOrNew reads a resource to change it, or begins one of the kind that
// its name says.
func (s *session) resourceOrNew(ctx context.Context, name string) (*schedulingv1.Resource, error) {
	collection, _, _ := strings.Cut(name, "/")
	kind, ok := map[string]schedulingv1.ResourceKind{
		"bays":   schedulingv1.ResourceKind_RESOURCE_KIND_BAY,
		"people": schedulingv1.ResourceKind_RESOURCE_KIND_PERSON,
		"tools":  schedulingv1.ResourceKind_RESOURCE_KIND_TOOL,
	}[collection]
	if !ok {
		return nil, fmt.Errorf("%q is no name; write bays/ID, people/ID or tools/ID", name)
	}
	all, err := s.resources(ctx, 0, kind)
	if err != nil && fault.KindOf(err) != fault.NotFound {
		return nil, err
	}
	for _, r := range all {
		if r.GetName() == name {
			r.Blocks = nil // they have commands of their own and stay
			return r, nil
		}
	}
	return &schedulingv1.Resource{Name: name, Kind: kind, Title: number(name)}, nil
}

func (in *resourceChange) apply(r *schedulingv1.Resource, now time.Time, given func(string) bool) error {
	if given("title") {
		r.Title = in.title
	}
	if given("type") {
		r.Type = in.kind
	}
	if given("retired") {
		r.Retired = in.retired
	}
	if given("skill") {
		r.Skills = nil
		for _, text := range in.skills {
			skill, err := parseSkill(text, now)
			if err != nil {
				return err
			}
			r.Skills = append(r.Skills, skill)
		}
	}
	if given("shift") || in.forever {
		r.Shifts = nil
	}
	for _, text := range in.shifts {
		shifts, err := parseShift(text)
		if err != nil {
			return err
		}
		r.Shifts = append(r.Shifts, shifts...)
	}
	return nil
}

func bayBlock(o *options) *cobra.Command {
	var from, to, reason, kind string
	var preview bool
	command := &cobra.Command{
		Use:     "block NAME",
		Short:   "Take a bay, a person or a tool out for a time; its bookings are moved",
		Example: "  ramprow bay block people/tomas --from 'tomorrow 08:00' --to 'tomorrow 17:00' --reason ill --kind illness",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			when, err := parseInterval(from, to, s.now())
			if err != nil {
				return err
			}
			why, err := chooseOptional[schedulingv1.BlockKind]("--kind", kind)
			if err != nil {
				return err
			}
			r, err := s.Scheduling.BlockResource(ctx, &schedulingv1.BlockResourceRequest{
				RequestId: s.once(), Resource: args[0], When: when, Reason: reason, Kind: why, ValidateOnly: preview,
			})
			if err != nil {
				return err
			}
			line := fmt.Sprintf("%s is out %s; %s", args[0], during(when, s.now()), plural(len(r.GetChanges()), "other booking")+" moved")
			return s.answer(r, append([]string{line + repeated(r.GetReceipt())}, changeLines(s, r.GetChanges())...)...)
		}),
	}
	requireText(command, &from, "from", "from this time")
	requireText(command, &to, "to", "until this time")
	requireText(command, &reason, "reason", "why")
	command.Flags().StringVar(&kind, "kind", "", "of people leave, illness or training; of bays and tools maintenance or repair")
	completeFlag(command, "kind", "leave", "illness", "training", "maintenance", "repair")
	command.Flags().BoolVar(&preview, "preview", false, "show the consequence only")
	return command
}

func bayUnblock(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "unblock NAME BLOCK",
		Short:   "Give a bay, a person or a tool back early",
		Example: "  ramprow bay unblock people/tomas b1",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			r, err := s.Scheduling.UnblockResource(ctx, &schedulingv1.UnblockResourceRequest{RequestId: s.once(), Resource: args[0], Block: args[1]})
			if err != nil {
				return err
			}
			return s.answer(r, append([]string{args[0] + " is back" + repeated(r.GetReceipt())}, changeLines(s, r.GetChanges())...)...)
		}),
	}
}
