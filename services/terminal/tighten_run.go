package terminal

import (
	"context"
	"errors"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/fault"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

func tightenRun(o *options) *cobra.Command {
	var joint, adapter string
	var wrenches []string
	command := &cobra.Command{
		Use:   "run JOB",
		Short: "Tighten by the sheet: it names the fastener, you type what the wrench did",
		Long: `Tighten by the sheet: it names the fastener, you type what the wrench did, one line for each.

  =          as asked: the wrench clicked at the value
  9.8        newton metres, or degrees where only an angle is asked
  7.4lbf·ft  a torque in another unit, without a blank; it is converted, and kept as typed too
  40 91      newton metres and degrees
  !  !9.8    the same, and it moved before the click
  @a1        take another wrench in hand
  q          stop; what is posted stays

With several wrenches in hand the first that can measure the stage is taken. While the server is away
the reading is kept on this terminal's disk and sent again under the same request id; what is typed
meanwhile waits its turn. What a run before could not send is sent first.`,
		Example: "  ramprow tighten run 17 --wrench w1\n  ramprow tighten run 17 --wrench w1,w2,a1 --joint head < readings.txt",
		RunE: o.follow(func(ctx context.Context, s *session, args []string) error {
			ctx, stop := signal.NotifyContext(ctx, syscall.SIGINT, syscall.SIGTERM)
			defer stop()
			job, err := jobName(args[0])
			if err != nil {
				return err
			}
			b := &bench{session: s, job: job, joint: joint, revision: s.atLeast}
			if b.adapter, err = parseAdapter(adapter); err != nil {
				return err
			}
			if _, err := patiently(ctx, b, "what waits is sent", b.sendWaiting); err != nil {
				return err
			}
			if err := b.take(ctx, wrenches); err != nil {
				return err
			}
			return b.work(ctx)
		}),
	}
	command.Flags().StringVar(&joint, "joint", "", "only this joint")
	command.Flags().StringVar(&adapter, "adapter", "", adapterHelp)
	command.Flags().StringSliceVar(&wrenches, "wrench", nil, "wrenches in your hand, as in w1,a1")
	_ = command.MarkFlagRequired("wrench") // fails only for a flag that is not there
	return command
}

// bench is one technician tightening one job.
type bench struct {
	*session

	job, joint string
	adapter    *torqueauditv1.Adapter // on every wrench in hand; nil: none
	inHand     []*torqueauditv1.Wrench
	chosen     *torqueauditv1.Wrench // by @, until the stage changes
	turn       *torqueauditv1.NextTurn
	left       []string
	revision   uint64
	kept       int
}

// errStop ends the run because the person wants to.
var errStop = errors.New("stop")

// take finds the wrenches in the register.
func (b *bench) take(ctx context.Context, names []string) error {
	for _, name := range names {
		w, err := b.wrench(ctx, name)
		if err != nil {
			return err
		}
		b.inHand = append(b.inHand, w)
	}
	return nil
}

func (b *bench) wrench(ctx context.Context, name string) (*torqueauditv1.Wrench, error) {
	ctx, cancel := context.WithTimeout(ctx, b.timeout)
	defer cancel()
	r, err := b.Audit.GetWrench(ctx, &torqueauditv1.GetWrenchRequest{Wrench: inCollection("wrenches", strings.TrimSpace(name))})
	return r.GetWrench(), err
}

// work goes on until nothing is due, the input ends, or the person stops.
func (b *bench) work(ctx context.Context) error {
	if err := b.look(ctx); err != nil {
		return err
	}
	input := typedLines(ctx, b.in)
	for b.turn != nil {
		if err := b.tell("%s", b.ask()); err != nil {
			return err
		}
		err := b.hear(ctx, input)
		if errors.Is(err, errStop) {
			break
		}
		if err != nil {
			return err
		}
	}
	return b.farewell()
}

// hear waits for a line and does what it says.
func (b *bench) hear(ctx context.Context, input <-chan typedLine) error {
	text, err := heardLine(ctx, input)
	if err != nil {
		return err
	}
	return b.line(ctx, strings.TrimSpace(text))
}

// look asks the sheet what is next.
func (b *bench) look(ctx context.Context) error {
	r, err := patiently(ctx, b, "the sheet is asked", func(ctx context.Context) (*torqueauditv1.GetNextTurnResponse, error) {
		return b.Audit.GetNextTurn(ctx, &torqueauditv1.GetNextTurnRequest{Job: b.job, Joint: b.joint, MinRevision: b.revision, Adapter: b.adapter})
	})
	if err != nil {
		return err
	}
	b.turned(r.GetNext(), r.GetLeft())
	return nil
}

func (b *bench) turned(next *torqueauditv1.NextTurn, left []string) {
	if next.GetJoint() != b.turn.GetJoint() || next.GetStage() != b.turn.GetStage() {
		b.chosen = nil
	}
	b.turn, b.left = next, left
}

// tell speaks to the person; in JSON the answers alone are printed.
func (b *bench) tell(format string, args ...any) error {
	if b.json {
		return nil
	}
	return b.say(format, args...)
}

func (b *bench) ask() string {
	w := b.choose()
	if w == nil {
		return turnLine(b.turn) + "\n  no wrench in your hand can measure this: take one with @WRENCH"
	}
	return turnLine(b.turn) + "  [" + number(w.GetName()) + "]"
}

// choose is the wrench for what is due: the one asked for, or the first that fits.
func (b *bench) choose() *torqueauditv1.Wrench {
	if b.chosen != nil {
		return b.chosen
	}
	for _, w := range b.inHand {
		if measures(w, asSet(b.turn)) {
			return w
		}
	}
	return nil
}

// line does what one line of input says.
func (b *bench) line(ctx context.Context, text string) error {
	if text == "q" {
		return errStop
	}
	if name, ok := strings.CutPrefix(text, "@"); ok {
		w, err := b.wrench(ctx, name)
		if err != nil {
			return b.refused(ctx, err)
		}
		b.inHand, b.chosen = append(b.inHand, w), w
		return nil
	}
	entry, err := parseEntry(text, asSet(b.turn))
	if err != nil {
		return b.tell("  %s", err)
	}
	w := b.choose()
	if w == nil {
		return b.tell("  not kept: take a wrench with @WRENCH first")
	}
	reading := &torqueauditv1.PostReadingRequest{
		RequestId: fresh(), Job: b.job, Joint: b.turn.GetJoint(), Fastener: b.turn.GetFastener(), Stage: b.turn.GetStage(),
		Wrench: w.GetName(), AngleDeg: entry.angle, Moved: entry.moved, At: timestamppb.New(b.now()),
		Adapter: b.adapter,
	}
	entry.giveTo(&reading.TorqueNm, &reading.Torque)
	return b.post(ctx, reading)
}

// post sends a reading until it is answered, and shows the verdict.
func (b *bench) post(ctx context.Context, reading *torqueauditv1.PostReadingRequest) error {
	r, err := b.send(ctx, reading)
	if err != nil {
		return b.refused(ctx, err)
	}
	b.kept++
	b.revision = r.GetReceipt().GetRevision()
	if b.json {
		err = b.showJSON(r)
	} else {
		err = b.tell("  %s", readingLine(r))
	}
	if err != nil {
		return err
	}
	if r.GetNext() == nil {
		return b.look(ctx) // this joint has no more turns; the sheet may go on elsewhere
	}
	b.turned(r.GetNext(), r.GetLeft())
	return nil
}

// refused shows a refusal and asks anew; what no retyping can mend ends the run.
func (b *bench) refused(ctx context.Context, err error) error {
	switch fault.KindOf(err) {
	case fault.Invalid, fault.NotFound, fault.Exists, fault.Precondition, fault.Conflict, fault.Exhausted:
		if err := b.tell("  refused: %s", err); err != nil {
			return err
		}
		return b.look(ctx)
	default:
		return err
	}
}

// farewell says what is left.
func (b *bench) farewell() error {
	if err := b.tell("%s kept.", plural(b.kept, "reading")); err != nil {
		return err
	}
	for _, left := range b.left {
		if err := b.tell("  left: %s", left); err != nil {
			return err
		}
	}
	if b.turn != nil {
		return b.tell("Next: ramprow tighten run %s --wrench WRENCH", number(b.job))
	}
	return b.tell("Next: ramprow tighten sign %s, when nothing is left", number(b.job))
}
