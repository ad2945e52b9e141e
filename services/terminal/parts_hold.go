package terminal

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

func partsHolds(o *options) *cobra.Command {
	var state string
	var limit int
	command := &cobra.Command{
		Use:     "holds",
		Short:   "List what jobs have on the shelf",
		Example: "  ramprow parts holds --state short",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			wanted, err := chooseOptional[inventoryv1.HoldState]("--state", state)
			if err != nil {
				return err
			}
			rows, err := collect(s, limit, func(size int32, token string) ([]*inventoryv1.Hold, string, error) {
				r, err := s.Inventory.ListHolds(ctx, &inventoryv1.ListHoldsRequest{PageSize: size, PageToken: token, State: wanted, MinRevision: s.atLeast})
				return r.GetHolds(), r.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			return showList(s, rows, "No job holds parts here. They are held when a diagnosis is confirmed.", holdColumns(s.now()))
		}),
	}
	command.Flags().StringVar(&state, "state", "", "only holds in this state: "+strings.Join(choices[inventoryv1.HoldState](), ", "))
	completeFlag(command, "state", choices[inventoryv1.HoldState]()...)
	limitFlag(command, &limit)
	return command
}

func holdColumns(now time.Time) []column[*inventoryv1.Hold] {
	return []column[*inventoryv1.Hold]{
		figure("JOB", func(h *inventoryv1.Hold) string { return number(h.GetJob()) }),
		left("STATE", func(h *inventoryv1.Hold) string { return word(h.GetState()) }),
		figure("LINES", func(h *inventoryv1.Hold) string { return figures(int64(len(h.GetLines()))) }),
		left("MISSING", func(h *inventoryv1.Hold) string { return strings.Join(shortParts(h), ", ") }),
		left("EXPECTED", func(h *inventoryv1.Hold) string { return expected(h, now) }),
		left("FREE AGAIN", func(h *inventoryv1.Hold) string { return at(h.GetExpiresAt(), now) }),
	}
}

func shortParts(h *inventoryv1.Hold) []string {
	var parts []string
	for _, l := range h.GetLines() {
		if l.GetState() == inventoryv1.LineState_LINE_STATE_SHORT {
			parts = append(parts, l.GetPart())
		}
	}
	return parts
}

func expected(h *inventoryv1.Hold, now time.Time) string {
	if h.GetEta() == nil {
		return ""
	}
	if !h.GetEtaOrdered() {
		return at(h.GetEta(), now) + " if ordered now" + likely(h, now)
	}
	return at(h.GetEta(), now) + likely(h, now)
}

// likely is the day by which it is there with 80 %, where that is another one.
func likely(h *inventoryv1.Hold, now time.Time) string {
	if p80 := h.GetEtaP80(); p80 != nil && p80.AsTime().After(h.GetEta().AsTime()) {
		return ", likely by " + at(p80, now)
	}
	return ""
}

func partsHold(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "hold JOB",
		Short:   "Show what a job has on the shelf, line by line",
		Example: "  ramprow parts hold 17",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, _ []string) error {
			r, err := s.Inventory.GetHold(ctx, &inventoryv1.GetHoldRequest{Job: job, MinRevision: s.atLeast})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r.GetHold())
			}
			if err := showList(s, r.GetHold().GetLines(), "This job wants no parts.", lineColumns(s.now())); err != nil {
				return err
			}
			return s.answer(r, "", holdLine(r.GetHold(), s.now()))
		}),
	}
}

func lineColumns(now time.Time) []column[*inventoryv1.HoldLine] {
	return []column[*inventoryv1.HoldLine]{
		left("LINE", (*inventoryv1.HoldLine).GetLine),
		left("PART", (*inventoryv1.HoldLine).GetPart),
		left("WHAT", (*inventoryv1.HoldLine).GetTitle),
		figure("QUANTITY", func(l *inventoryv1.HoldLine) string { return quantity(l.GetQuantity(), l.GetUnit()) }),
		left("STATE", func(l *inventoryv1.HoldLine) string { return word(l.GetState()) }),
		left("BIN", (*inventoryv1.HoldLine).GetBin),
		left("ONLY IF", func(l *inventoryv1.HoldLine) string {
			if l.GetFeature() == "" {
				return ""
			}
			return l.GetFeature() + " is " + l.GetValue()
		}),
		left("EXPECTED", func(l *inventoryv1.HoldLine) string {
			if l.GetState() == inventoryv1.LineState_LINE_STATE_SHORT && l.GetEta() == nil {
				return "not ordered"
			}
			return at(l.GetEta(), now)
		}),
	}
}

// holdLine says how a hold stands and what is next.
func holdLine(h *inventoryv1.Hold, now time.Time) string {
	n := number(h.GetJob())
	line := fmt.Sprintf("%s: parts %s", h.GetJob(), word(h.GetState()))
	switch h.GetState() {
	case inventoryv1.HoldState_HOLD_STATE_HELD:
		return line + ". Next: ramprow parts issue " + n
	case inventoryv1.HoldState_HOLD_STATE_SHORT:
		return line + ", expected " + orWord(expected(h, now), "never") + ". Next: ramprow parts propose"
	case inventoryv1.HoldState_HOLD_STATE_SETTLED, inventoryv1.HoldState_HOLD_STATE_RELEASED,
		inventoryv1.HoldState_HOLD_STATE_EXPIRED, inventoryv1.HoldState_HOLD_STATE_UNSPECIFIED:
	}
	return line
}

func partsIssue(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "issue JOB [LINE…]",
		Short:   "Hand held lines over to the technician; all of them if none is named",
		Example: "  ramprow parts issue 17\n  ramprow parts issue 17 seal-1",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, rest []string) error {
			r, err := s.Inventory.IssueParts(ctx, &inventoryv1.IssuePartsRequest{RequestId: s.once(), Job: job, Lines: rest})
			if err != nil {
				return err
			}
			return s.answer(r, "issued; "+holdLine(r.GetHold(), s.now())+repeated(r.GetReceipt()))
		}),
	}
}

func partsReturn(o *options) *cobra.Command {
	var note string
	command := &cobra.Command{
		Use:     "return JOB LINE…",
		Short:   "Take issued lines back on the shelf",
		Example: "  ramprow parts return 17 seal-1 --note 'not needed'",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, rest []string) error {
			r, err := s.Inventory.ReturnParts(ctx, &inventoryv1.ReturnPartsRequest{RequestId: s.once(), Job: job, Lines: rest, Note: note})
			if err != nil {
				return err
			}
			return s.answer(r, "back on the shelf; "+holdLine(r.GetHold(), s.now())+repeated(r.GetReceipt()))
		}),
	}
	command.Flags().StringVar(&note, "note", "", "why")
	return command
}

func partsRelease(o *options) *cobra.Command {
	var reason string
	command := &cobra.Command{
		Use:     "release JOB",
		Short:   "Give a job's held lines free",
		Example: "  ramprow parts release 17 --reason 'customer waits until autumn'",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, _ []string) error {
			r, err := s.Inventory.ReleaseHold(ctx, &inventoryv1.ReleaseHoldRequest{RequestId: s.once(), Job: job, Reason: reason})
			if err != nil {
				return err
			}
			return s.answer(r, holdLine(r.GetHold(), s.now())+repeated(r.GetReceipt()))
		}),
	}
	requireText(command, &reason, "reason", "why")
	return command
}
