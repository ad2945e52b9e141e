package terminal

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

func partsMorning(o *options) *cobra.Command {
	var until string
	command := &cobra.Command{
		Use:     "morning",
		Short:   "The day's list: what to order, what arrives, what to pick, what to put back, what lies idle",
		Example: "  ramprow parts morning\n  ramprow parts morning --until 'tomorrow 18:00'",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			end, err := optionalTime("until", until, s.now())
			if err != nil {
				return err
			}
			r, err := s.Inventory.GetMorning(ctx, &inventoryv1.GetMorningRequest{Until: end})
			if err != nil {
				return err
			}
			return s.answer(r, morningLines(s, r)...)
		}),
	}
	command.Flags().StringVar(&until, "until", "", "the end of the day; without it 24 hours from now")
	return command
}

func morningLines(s *session, r *inventoryv1.GetMorningResponse) []string {
	var lines []string
	section := func(title string, n int) {
		if n == 0 {
			title += ": nothing"
		}
		lines = append(lines, title)
	}
	section("Order", len(r.GetOrders()))
	for _, o := range r.GetOrders() {
		head := "  from " + orWord(o.GetSupplier(), "nobody known")
		if o.GetCost() != nil {
			head += ", " + money(o.GetCost())
		}
		if o.GetCarriage().GetMinorUnits() > 0 {
			head += " and " + money(o.GetCarriage()) + " carriage"
		}
		lines = append(lines, head)
		for _, n := range o.GetNotes() {
			lines = append(lines, "    note: "+n)
		}
		for _, p := range o.GetLines() {
			lines = append(lines, fmt.Sprintf("    %d × %s  %s (%s)", p.GetQuantity(), p.GetPart(), p.GetTitle(), p.GetReason()))
		}
	}
	section("Arrives", len(r.GetDeliveries()))
	for _, d := range r.GetDeliveries() {
		lines = append(lines, "  "+deliveryLine(s, d))
	}
	section("Pick", len(r.GetPicks()))
	for _, p := range r.GetPicks() {
		lines = append(lines, kitLines(s, p)...)
	}
	section("Put back", len(r.GetPutBack()))
	for _, b := range r.GetPutBack() {
		then := "return"
		if b.GetPicked() {
			then = "put-away"
		}
		lines = append(lines, fmt.Sprintf("  %s  %d × %s of %s: %s. Then: ramprow parts %s %s %s",
			orWord(b.GetBin(), "no bin"), b.GetQuantity(), b.GetPart(), b.GetJob(), b.GetReason(), then, number(b.GetJob()), b.GetLine()))
	}
	section("Count", len(r.GetCounts()))
	for _, q := range r.GetCounts() {
		lines = append(lines, "  "+questionLine(q))
	}
	section("Go back", len(r.GetReturns()))
	for _, b := range r.GetReturns() {
		lines = append(lines, "  "+returnLine(b, s.now()))
	}
	section("Idle", len(r.GetIdle()))
	for _, i := range r.GetIdle() {
		lines = append(lines, fmt.Sprintf("  %s  %d × %s  %s, %s: %s", orWord(i.GetBin(), "no bin"), i.GetQuantity(), i.GetPart(), i.GetTitle(), orWord(money(i.GetValue()), "no cost known"), i.GetReason()))
	}
	return lines
}

// kitLines say what to pick for a job, and what is missing.
func kitLines(s *session, p *inventoryv1.Pick) (lines []string) {
	lines = append(lines, fmt.Sprintf("  %s at %s in %s", p.GetJob(), at(p.GetTurn(), s.now()), p.GetBay()))
	for _, l := range p.GetLines() {
		line := fmt.Sprintf("    %s  %s × %s  %s", orWord(l.GetBin(), "no bin"), quantity(l.GetHeld(), l.GetUnit()), l.GetPart(), l.GetTitle())
		if l.GetPicked() > 0 {
			line += fmt.Sprintf(", %s picked", quantity(l.GetPicked(), l.GetUnit()))
		}
		lines = append(lines, line)
	}
	if p.GetNext() == nil && len(p.GetLines()) > 0 {
		lines = append(lines, fmt.Sprintf("    all of it is picked and waits %s: ramprow parts issue %s", orWord(prefixed("at ", p.GetStagedAt()), "to be handed over"), number(p.GetJob())))
	}
	for _, l := range p.GetMissing() {
		lines = append(lines, fmt.Sprintf("    missing  %s  %s, expected %s", l.GetPart(), l.GetTitle(), orWord(at(l.GetEta(), s.now()), "never: nobody has ordered it")))
	}
	return lines
}

// prefixed is a text with something before it; nothing stays nothing.
func prefixed(before, text string) string {
	if text == "" {
		return ""
	}
	return before + text
}

func deliveryLine(s *session, d *inventoryv1.DueDelivery) string {
	line := fmt.Sprintf("%s from %s: %d × %s  %s, expected %s", d.GetOrder(), d.GetSupplier(), d.GetQuantity(), d.GetPart(), d.GetTitle(), at(d.GetExpected(), s.now()))
	if d.GetOverdue() {
		line += ", overdue"
	}
	if len(d.GetFreesJobs()) > 0 {
		line += "; frees " + strings.Join(d.GetFreesJobs(), ", ")
	} else if len(d.GetServesJobs()) > 0 {
		line += "; for " + strings.Join(d.GetServesJobs(), ", ")
	}
	return line
}

func partsWhy(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "why PART",
		Short:   "Say why a part's figures are what they are",
		Example: "  ramprow parts why MO-4212",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			r, err := s.Inventory.ExplainPart(ctx, &inventoryv1.ExplainPartRequest{Part: args[0]})
			if err != nil {
				return err
			}
			return s.answer(r, r.GetWhy()...)
		}),
	}
}
