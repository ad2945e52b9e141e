package terminal

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"time"

	"github.com/spf13/cobra"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/telemetry"
)

// session is one command being carried out: the services, the caller's
// terminal, and how answers are shown.
type session struct {
	*Clients

	in        io.Reader
	out       io.Writer
	notes     io.Writer // standard error: progress and asides
	json      bool
	requestID string
	sent      bool // a command that changes something was sent under requestID
	atLeast   uint64
	timeout   time.Duration
	now       func() time.Time
	waiting   waiting // readings of this caller that no server has answered
}

// action carries one command out.
type action func(ctx context.Context, s *session, args []string) error

// run gives an action its session, and one bound of time for all of it.
func (o *options) run(act action) func(*cobra.Command, []string) error {
	return o.follow(func(ctx context.Context, s *session, args []string) error {
		ctx, cancel := context.WithTimeout(ctx, s.timeout)
		defer cancel()
		return act(ctx, s, args)
	})
}

// follow gives an action its session for as long as the person wants.
func (o *options) follow(act action) func(*cobra.Command, []string) error {
	return func(command *cobra.Command, args []string) (err error) {
		if err := o.check(); err != nil {
			return err
		}
		token, err := o.callerToken()
		if err != nil {
			return err
		}
		ctx := rpc.WithToken(command.Context(), token)
		t, err := telemetry.Start(ctx, telemetry.Config{Service: "ramprow-terminal", Log: command.ErrOrStderr(), LogLevel: slog.LevelError})
		if err != nil {
			return err
		}
		defer func() { err = errors.Join(err, t.Shutdown(context.WithoutCancel(ctx))) }()
		s, err := o.open(command, t)
		if err != nil {
			return err
		}
		defer func() { err = errors.Join(err, s.Close()) }()
		s.waiting = waitingOf(o.dir(), token)
		return s.outcome(act(ctx, s, args))
	}
}

func (o *options) open(command *cobra.Command, t *telemetry.Telemetry) (*session, error) {
	dial := o.dial()
	dial.Telemetry = t
	if err := checkTLS(dial.TLS); err != nil {
		return nil, err
	}
	clients, err := Dial(dial)
	if err != nil {
		return nil, err
	}
	s := &session{
		Clients: clients, in: command.InOrStdin(), out: command.OutOrStdout(), notes: command.ErrOrStderr(),
		json: o.output == outputJSON, requestID: o.requestID, atLeast: o.atLeast, timeout: o.timeout, now: time.Now,
	}
	if s.requestID == "" {
		s.requestID = fresh()
	}
	return s, nil
}

// fresh makes a request_id that nobody has used.
func fresh() string { return rand.Text() }

// once gives the request_id of the one change that this command makes.
func (s *session) once() string {
	s.sent = true
	return s.requestID
}

// outcome tells a person what to do when nobody can know whether it was done.
func (s *session) outcome(err error) error {
	if err == nil || !s.sent || !away(err) {
		return err
	}
	return fmt.Errorf("%w\nIt may or may not have been done. Send the same again with --request-id %s: it is done once.", err, s.requestID) //nolint:revive // for people, in sentences
}

// refusal tells whether the server has answered that it will never do this.
func refusal(err error) bool {
	switch fault.KindOf(err) {
	case fault.Invalid, fault.NotFound, fault.Exists, fault.Precondition, fault.Conflict, fault.Exhausted:
		return true
	default:
		return false
	}
}

// away tells whether no answer came, so that the outcome is unknown.
func away(err error) bool {
	kind := fault.KindOf(err)
	return kind == fault.Unavailable || kind == fault.Deadline
}
