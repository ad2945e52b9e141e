package terminal

import (
	"cmp"
	"context"
	"fmt"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

func tightenWaiting(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "waiting",
		Short:   "List the readings on this terminal that no server has answered yet; needs no server",
		Example: "  ramprow tighten waiting",
		RunE: func(command *cobra.Command, _ []string) error {
			files, err := filepath.Glob(filepath.Join(waitingDir(o.dir()), "*.jsonl"))
			if err != nil {
				return fmt.Errorf("list the waiting readings: %w", err)
			}
			count := 0
			for _, file := range files {
				all, err := waiting{file: file}.list()
				if err != nil {
					return err
				}
				for _, r := range all {
					count++
					if _, err := fmt.Fprintln(command.OutOrStdout(), waitingLine(r)); err != nil {
						return err
					}
				}
			}
			last := "Nothing waits: every reading of this terminal was answered."
			if count > 0 {
				last = plural(count, "reading") + " wait. Next: ramprow tighten send, as whoever took them"
			}
			_, err = fmt.Fprintln(command.OutOrStdout(), last)
			return err
		},
	}
}

func waitingLine(r *torqueauditv1.PostReadingRequest) string {
	return fmt.Sprintf("%s  %s %d: %g %s %g degrees with %s, %s", r.GetJob(), r.GetJoint(), r.GetFastener(),
		r.GetTorqueNm()+r.GetTorque().GetValue(), cmp.Or(r.GetTorque().GetUnit(), "N·m"), r.GetAngleDeg(),
		number(r.GetWrench()), r.GetAt().AsTime().Format("2006-01-02 15:04:05 MST"))
}

func tightenSend(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "send",
		Short:   "Send the readings that wait on this terminal, in order; each is kept once",
		Example: "  ramprow tighten send",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			sent, err := s.sendWaiting(ctx)
			if err != nil {
				return err
			}
			return s.say("%s sent; nothing waits.", plural(sent, "reading"))
		}),
	}
}

// sendWaiting sends what waits, oldest first, until all is answered or the
// server is away.
func (s *session) sendWaiting(ctx context.Context) (sent int, err error) {
	all, err := s.waiting.list()
	if err != nil {
		return 0, err
	}
	return s.sendAll(ctx, all)
}

// sendAll sends readings in order. What is refused is told and waits no more:
// sending it again would change nothing.
func (s *session) sendAll(ctx context.Context, all []*torqueauditv1.PostReadingRequest) (sent int, err error) {
	for _, r := range all {
		answer, err := s.Audit.PostReading(ctx, r)
		switch {
		case err == nil:
			_, _ = fmt.Fprintf(s.notes, "sent what waited: %s\n", readingLine(answer)) // an aside
		case refusal(err):
			_, _ = fmt.Fprintf(s.notes, "refused, and waits no more: %s\n  %v\n", waitingLine(r), err) // an aside
		default:
			return sent, fmt.Errorf("%w\n%s on this terminal; see: ramprow tighten waiting", err, wait(len(all)-sent))
		}
		sent++
		if err := s.waiting.remove(r.GetRequestId()); err != nil {
			return sent, err
		}
	}
	return sent, nil
}

func wait(n int) string {
	if n == 1 {
		return "1 reading waits"
	}
	return plural(n, "reading") + " wait"
}

// keepReading writes a reading down, sends what waited before it, so that
// nothing is overtaken, and then it.
func (s *session) keepReading(ctx context.Context, r *torqueauditv1.PostReadingRequest) (*torqueauditv1.PostReadingResponse, error) {
	before, err := s.waiting.list()
	if err != nil {
		return nil, err
	}
	if i := slices.IndexFunc(before, sameID(r.GetRequestId())); i >= 0 {
		// The same again by hand: it is still that reading, with its own time.
		if r.GetAt() == nil {
			r.At = before[i].GetAt()
		}
		before = before[:i]
	}
	if err := s.waiting.add(r); err != nil {
		return nil, err
	}
	if _, err := s.sendAll(ctx, before); err != nil {
		return nil, err
	}
	answer, err := s.Audit.PostReading(ctx, r)
	if err == nil || refusal(err) {
		if gone := s.waiting.remove(r.GetRequestId()); gone != nil {
			return nil, gone
		}
		return answer, err
	}
	return nil, fmt.Errorf("%w\nIt waits on this terminal; see: ramprow tighten waiting", err)
}
