package terminal

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"time"

	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

const (
	firstPause = 250 * time.Millisecond
	lastPause  = 5 * time.Second
)

// send repeats a reading under its request id until it is answered: it is kept
// once, however often it arrives.
func (b *bench) send(ctx context.Context, reading *torqueauditv1.PostReadingRequest) (*torqueauditv1.PostReadingResponse, error) {
	if err := b.waiting.add(reading); err != nil {
		return nil, err
	}
	r, err := patiently(ctx, b, "the reading is kept and sent", func(ctx context.Context) (*torqueauditv1.PostReadingResponse, error) {
		return b.Audit.PostReading(ctx, reading)
	})
	if err != nil && ctx.Err() != nil {
		return nil, fmt.Errorf("stopped before the last reading was answered; it waits on this terminal: ramprow tighten send. The same by hand, it is kept once:\n  %s", again(reading))
	}
	if err == nil || refusal(err) {
		if gone := b.waiting.remove(reading.GetRequestId()); gone != nil {
			return nil, gone
		}
	}
	return r, err
}

// patiently calls until there is an answer or the person stops waiting.
func patiently[R any](ctx context.Context, b *bench, what string, call func(context.Context) (R, error)) (R, error) {
	for pause := firstPause; ; pause = min(2*pause, lastPause) {
		bounded, cancel := context.WithTimeout(ctx, b.timeout)
		r, err := call(bounded)
		cancel()
		if err == nil || !away(err) || ctx.Err() != nil {
			return r, err
		}
		_, _ = fmt.Fprintf(b.notes, "  no answer (%v); %s again in %s\n", err, what, pause) // an aside that nobody reads is no loss
		select {
		case <-ctx.Done():
			return r, err
		case <-time.After(pause):
		}
	}
}

// again is the command that sends the very same reading.
func again(r *torqueauditv1.PostReadingRequest) string {
	command := fmt.Sprintf("ramprow tighten post %s %s %d --stage %d --wrench %s --torque %g --angle %g --at %s --request-id %s",
		number(r.GetJob()), r.GetJoint(), r.GetFastener(), r.GetStage(), number(r.GetWrench()), r.GetTorqueNm()+r.GetTorque().GetValue(), r.GetAngleDeg(),
		r.GetAt().AsTime().Format(time.RFC3339Nano), r.GetRequestId())
	if r.GetTorque() != nil {
		command += " --unit '" + r.GetTorque().GetUnit() + "'"
	}
	if r.GetMoved() {
		command += " --moved"
	}
	if a := r.GetAdapter(); a != nil {
		command += " --adapter " + adapterText(a)
	}
	return command
}

// typedLine is a line of input, or why there are no more.
type typedLine struct {
	text string
	err  error
}

// typedLines reads ahead in the background, so that a signal is heard while
// nobody types. The reader is left behind then; the program ends with it.
func typedLines(ctx context.Context, in io.Reader) <-chan typedLine {
	read := make(chan typedLine)
	go func() {
		defer close(read)
		lines := bufio.NewScanner(in)
		for lines.Scan() {
			select {
			case read <- typedLine{text: lines.Text()}:
			case <-ctx.Done():
				return
			}
		}
		if lines.Err() != nil {
			select {
			case read <- typedLine{err: lines.Err()}:
			case <-ctx.Done():
			}
		}
	}()
	return read
}
