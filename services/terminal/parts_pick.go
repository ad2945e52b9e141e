package terminal

import (
	"context"
	"errors"
	"fmt"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

func partsPick(o *options) *cobra.Command {
	return &cobra.Command{
		Use:   "pick JOB",
		Short: "Pick a job's kit bin by bin: it names the part, you scan what you took",
		Long: `Pick a job's kit bin by bin: it names the part, you scan what you took, one line for each.

  4006381333931     one piece, by the barcode on it or its number
  4 x MO-4212       four of them
  !unknown          the bin holds no more of what is named; a word why, then others if you like:
                    ` + strings.Join(choices[inventoryv1.CountCause](), ", ") + `
  -seal-1           what was picked of this line goes back into its bin
  =                 hand the kit over to the technician
  = trolley 2       leave it there for the job
  ~   ~ trolley 2   the same for the part of it that is picked
  q                 stop; what is scanned stays picked

Another part than one of the kit is refused, and nothing is taken off the book before it is handed over.`,
		Example: "  ramprow parts pick 17\n  ramprow parts pick 17 < scanned.txt",
		RunE: o.follow(func(ctx context.Context, s *session, args []string) error {
			ctx, stop := signal.NotifyContext(ctx, syscall.SIGINT, syscall.SIGTERM)
			defer stop()
			job, err := jobName(args[0])
			if err != nil {
				return err
			}
			return (&picker{session: s, job: job, revision: s.atLeast}).work(ctx)
		}),
	}
}

// picker is one clerk before the bins.
type picker struct {
	*session

	job      string
	revision uint64
	kit      *inventoryv1.Pick
	ended    bool // it is handed over, or left for the job
}

// work goes on until the kit is handed over, the input ends, or the person stops.
func (p *picker) work(ctx context.Context) error {
	r, err := bounded(ctx, p.session, func(ctx context.Context) (*inventoryv1.GetPickResponse, error) {
		return p.Inventory.GetPick(ctx, &inventoryv1.GetPickRequest{Job: p.job, MinRevision: p.revision})
	})
	if err != nil {
		return err
	}
	p.kit = r.GetPick()
	input := typedLines(ctx, p.in)
	for !p.ended && len(p.kit.GetLines()) > 0 {
		if err := p.tell("%s", kitLine(p.kit)); err != nil {
			return err
		}
		text, err := heardLine(ctx, input)
		if errors.Is(err, errStop) {
			break
		}
		if err != nil {
			return err
		}
		if err := p.line(ctx, text); errors.Is(err, errStop) {
			break
		} else if err != nil {
			return err
		}
	}
	return p.farewell()
}

// bounded gives one call its time.
func bounded[R any](ctx context.Context, s *session, call func(context.Context) (R, error)) (R, error) {
	ctx, cancel := context.WithTimeout(ctx, s.timeout)
	defer cancel()
	return call(ctx)
}

// heardLine waits for a line of input; errStop: there is none any more.
func heardLine(ctx context.Context, input <-chan typedLine) (string, error) {
	select {
	case <-ctx.Done():
		return "", errStop
	case next, ok := <-input:
		switch {
		case !ok:
			return "", errStop
		case next.err != nil:
			return "", fmt.Errorf("read the next line: %w", next.err)
		}
		return next.text, nil
	}
}

// tell speaks to the person; in JSON the answers alone are printed.
func (p *picker) tell(format string, args ...any) error {
	if p.json {
		return nil
	}
	return p.say(format, args...)
}

// line does what one line of input says. A refusal is shown, and the next line
// heard; what no retyping can mend ends the run.
func (p *picker) line(ctx context.Context, text string) error {
	e, err := parsePickEntry(text)
	if err != nil {
		return p.tell("  %s", err)
	}
	switch {
	case e.stop:
		return errStop
	case e.short:
		err = p.short(ctx, e)
	case e.undo != "":
		err = p.undo(ctx, e.undo)
	case e.handOver || e.stageAt != "":
		err = p.finish(ctx, e)
	default:
		err = p.scan(ctx, e)
	}
	if refusal(err) {
		return p.tell("  refused: %s", err)
	}
	return err
}

func (p *picker) scan(ctx context.Context, e pickEntry) error {
	r, err := bounded(ctx, p.session, func(ctx context.Context) (*inventoryv1.PickPartResponse, error) {
		return p.Inventory.PickPart(ctx, &inventoryv1.PickPartRequest{RequestId: fresh(), Job: p.job, Code: e.code, Quantity: e.quantity})
	})
	if err != nil {
		return err
	}
	p.kit = r.GetPick()
	return p.answer(r, "  taken")
}

func (p *picker) short(ctx context.Context, e pickEntry) error {
	if p.kit.GetNext() == nil {
		return p.tell("  everything that is there is picked; nothing is missing")
	}
	r, err := bounded(ctx, p.session, func(ctx context.Context) (*inventoryv1.ReportShortPickResponse, error) {
		return p.Inventory.ReportShortPick(ctx, &inventoryv1.ReportShortPickRequest{
			RequestId: fresh(), Job: p.job, Line: p.kit.GetNext().GetLine(), Cause: e.cause, Note: e.note,
		})
	})
	if err != nil {
		return err
	}
	p.kit = r.GetPick()
	said := []string{"  booked: " + partLine(r.GetPart()), "  " + holdLine(r.GetHold(), p.now())}
	if len(r.GetOtherJobs()) > 0 {
		said = append(said, "  these lose pieces too: "+strings.Join(r.GetOtherJobs(), ", "))
	}
	return p.answer(r, append(said, "  "+questionLine(r.GetQuestion()))...)
}

func (p *picker) undo(ctx context.Context, line string) error {
	r, err := bounded(ctx, p.session, func(ctx context.Context) (*inventoryv1.PutPartsAwayResponse, error) {
		return p.Inventory.PutPartsAway(ctx, &inventoryv1.PutPartsAwayRequest{RequestId: fresh(), Job: p.job, Lines: []string{line}})
	})
	if err != nil {
		return err
	}
	if err := p.answer(r, "  back in its bin"); err != nil {
		return err
	}
	kit, err := bounded(ctx, p.session, func(ctx context.Context) (*inventoryv1.GetPickResponse, error) {
		return p.Inventory.GetPick(ctx, &inventoryv1.GetPickRequest{Job: p.job, MinRevision: r.GetReceipt().GetRevision()})
	})
	if err == nil {
		p.kit = kit.GetPick()
	}
	return err
}

func (p *picker) finish(ctx context.Context, e pickEntry) error {
	r, err := bounded(ctx, p.session, func(ctx context.Context) (*inventoryv1.FinishPickResponse, error) {
		return p.Inventory.FinishPick(ctx, &inventoryv1.FinishPickRequest{RequestId: fresh(), Job: p.job, StageAt: e.stageAt, Partial: e.partial})
	})
	if err != nil {
		return err
	}
	p.ended = true
	if e.stageAt != "" {
		return p.answer(r, fmt.Sprintf("the kit of %s waits at %s. Next: ramprow parts issue %s", p.job, e.stageAt, number(p.job)))
	}
	return p.answer(r, "handed over; "+holdLine(r.GetHold(), p.now()))
}

// farewell says what is left.
func (p *picker) farewell() error {
	switch {
	case p.ended:
		return nil
	case len(p.kit.GetLines()) == 0 && len(p.kit.GetMissing()) == 0:
		return p.tell("Nothing lies on the shelf for %s. See: ramprow parts hold %s", p.job, number(p.job))
	case len(p.kit.GetLines()) == 0:
		return p.tell("Nothing more lies there for %s, and %s missing. See: ramprow parts hold %s", p.job, plural(len(p.kit.GetMissing()), "line"), number(p.job))
	}
	return p.tell("What is scanned stays picked. Next: ramprow parts pick %s", number(p.job))
}

// kitLine says what comes next.
func kitLine(kit *inventoryv1.Pick) string {
	next := kit.GetNext()
	if next == nil {
		line := "All that is there is picked"
		if n := len(kit.GetMissing()); n > 0 {
			line += fmt.Sprintf(", and %s missing", plural(n, "line"))
		}
		return line + ": = hands it over, = PLACE leaves it there"
	}
	done := 0
	for _, l := range kit.GetLines() {
		if l.GetPicked() == l.GetHeld() {
			done++
		}
	}
	return fmt.Sprintf("%s  %s × %s  %s; %d of %d lines picked",
		orWord(next.GetBin(), "no bin"), quantity(next.GetHeld()-next.GetPicked(), next.GetUnit()), next.GetPart(), next.GetTitle(), done, len(kit.GetLines()))
}

// questionLine says what somebody has to count.
func questionLine(q *inventoryv1.CountQuestion) string {
	if q == nil {
		return ""
	}
	who := "count it when you pass"
	if q.GetByAnother() {
		who = "somebody other than " + q.GetBy() + " counts it"
	}
	state := "not booked yet"
	if q.GetBooked() {
		state = "booked"
	}
	return fmt.Sprintf("%s  %s  %s: %+d found by %s (%s), %s; %s", orWord(q.GetBin(), "no bin"), q.GetPart(), q.GetTitle(),
		q.GetDifference(), q.GetBy(), strings.TrimSpace(word(q.GetCause())+" "+q.GetNote()), state, who)
}

func partsPutAway(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "put-away JOB [LINE…]",
		Short:   "Say that picked pieces lie in their bins again: those that nobody wants, or those of the lines named",
		Example: "  ramprow parts put-away 17\n  ramprow parts put-away 17 seal-1",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, rest []string) error {
			r, err := s.Inventory.PutPartsAway(ctx, &inventoryv1.PutPartsAwayRequest{RequestId: s.once(), Job: job, Lines: rest})
			if err != nil {
				return err
			}
			return s.answer(r, "back in their bins; "+holdLine(r.GetHold(), s.now())+repeated(r.GetReceipt()))
		}),
	}
}
