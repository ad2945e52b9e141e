// Package command is the seam between a service's gRPC methods and its state
// machine: who calls and at which site comes from the token, the answer comes
// from the commit, and the receipt says where it stands on disk.
package command

import (
	"context"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
)

// Request is any mutating request: repeatable by its request_id.
type Request interface {
	proto.Message
	GetRequestId() string
}

// Decide is a service's pure decision: the events and the answer without its
// receipt, or the refusal.
type Decide[S any, R proto.Message] func(state S, in sitelog.Input) ([]proto.Message, R, error)

// Run decides a request on its caller's site and answers when the commit is on
// disk. Errors are the decision's own refusals, or faults of the log.
func Run[S any, R proto.Message](ctx context.Context, runner *sitelog.Runner[S], req Request, decide Decide[S, R]) (R, *commonv1.Receipt, error) {
	var none R
	who, err := Caller(ctx)
	if err != nil {
		return none, nil, err
	}
	method, _ := grpc.Method(ctx)
	outcome, err := runner.Do(ctx, who.Site, sitelog.Command[S]{
		Method:    method,
		RequestID: req.GetRequestId(),
		Request:   req,
		Actor:     ActorOf(who),
		Decide: func(state S, in sitelog.Input) (sitelog.Decision, error) {
			events, response, err := decide(state, in)
			return sitelog.Decision{Events: events, Response: response}, err
		},
	})
	if err != nil {
		return none, nil, err
	}
	response, ok := outcome.Response.(R)
	if !ok {
		return none, nil, fault.New(fault.Internal, "ANSWER_TYPE", "the log holds a %T as the answer of %s", outcome.Response, method)
	}
	return response, rpc.Receipt(ctx, rpc.Commitment{
		Revision: outcome.Revision, CommittedAt: outcome.CommittedAt, Repeated: outcome.Repeated, TraceID: outcome.TraceID,
	}), nil
}

// Caller gives who calls; the access interceptor has put it there.
func Caller(ctx context.Context) (identity.Identity, error) {
	who, ok := identity.FromContext(ctx)
	if !ok {
		return identity.Identity{}, fault.New(fault.Unauthenticated, "TOKEN_MISSING", "no token came with the call; make one with 'ramprow token'")
	}
	return who, nil
}

// ActorOf is the caller as the log keeps it.
func ActorOf(who identity.Identity) sitelog.Actor {
	actor := sitelog.Actor{Person: who.Person}
	for _, role := range who.Roles {
		actor.Roles = append(actor.Roles, "ROLE_"+strings.ToUpper(string(role)))
	}
	return actor
}
