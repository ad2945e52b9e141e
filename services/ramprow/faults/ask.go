package faults

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/simulation"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	"ramprow/services/terminal"
)

// attemptTime bounds one attempt of a call. Whoever got no answer by then asks
// again by the same request_id, at another replica if there is one.
const attemptTime = 3 * time.Second

// temporary are the kinds of failures after which the same request_id may be sent again.
var temporary = []fault.Kind{fault.Unavailable, fault.Deadline, fault.Conflict, fault.Canceled, fault.Exhausted}

// never are reasons that no fault of this harness may bring about.
var never = []string{sitelog.ReasonLogDamaged, sitelog.ReasonTooLarge, sitelog.ReasonReused, sitelog.ReasonDecisionPanicked}

// desk makes calls at one site in the owner's name.
type desk struct {
	town  *town
	tally *tally
	site  string
	token string
	turn  int // which replica is asked next
	probe bool
}

// ask sends a command until it is answered or refused. It gives up only with ctx.
func (d *desk) ask(ctx context.Context, call *simulation.Call) (refused bool, err error) {
	at, id := seat{role: call.Service, site: d.site}, requestID(call.Message)
	d.tally.asks(at, id)
	return d.send(ctx, call, answer{seat: at, call: call, id: id, probe: d.probe})
}

// again asks for what was answered before: the first answer must come once more.
func (d *desk) again(ctx context.Context, call *simulation.Call) error {
	repeat := &simulation.Call{Request: call.Request}
	a := answer{seat: seat{role: call.Service, site: d.site}, call: repeat, id: requestID(call.Message), repeated: true}
	refused, err := d.send(ctx, repeat, a)
	if refused {
		d.tally.violated("%s of %s was answered and then refused: %v", call.Method, a.id, repeat.Err)
	}
	return err
}

func (d *desk) send(ctx context.Context, call *simulation.Call, a answer) (refused bool, err error) {
	for ctx.Err() == nil {
		a.sentAt = time.Now()
		call.Answer, call.Err = d.attempt(ctx, call.Service, call.Method, call.Message)
		switch kind := fault.KindOf(call.Err); {
		case call.Err == nil:
			d.tally.acknowledged(a)
			return false, nil
		case slices.Contains(never, fault.ReasonOf(call.Err)) || kind == fault.Internal || kind == fault.Unauthenticated:
			d.tally.violated("%s of %s at %s: %v", call.Method, a.id, d.site, whole(call.Err))
			return false, errBroken
		case !slices.Contains(temporary, kind):
			if !a.repeated {
				d.tally.refusedFor(a.seat, a.id, call.Err)
			}
			return true, nil
		case ctx.Err() == nil:
			d.tally.madeAgain(call.Err)
			pause(ctx, 20*time.Millisecond)
		}
	}
	return false, ctx.Err()
}

// look reads a job, at least as new as a revision.
func (d *desk) look(ctx context.Context, job string, revision uint64) (*jobv1.GetJobResponse, error) {
	for ctx.Err() == nil {
		sentAt := time.Now()
		got, err := d.attempt(ctx, terminal.RoleJob, jobv1.JobService_GetJob_FullMethodName, &jobv1.GetJobRequest{Job: job, MinRevision: revision})
		switch response, _ := got.(*jobv1.GetJobResponse); {
		case err == nil && response.GetJob().GetName() != job:
			d.tally.violated("%s was read, and %q came", job, response.GetJob().GetName())
			return nil, errBroken
		case err == nil:
			d.tally.read(seat{role: terminal.RoleJob, site: d.site}, sentAt)
			return response, nil
		case !slices.Contains(temporary, fault.KindOf(err)):
			// The job is in the log: the caller has its receipt.
			d.tally.violated("%s at %s cannot be read at revision %d: %v", job, d.site, revision, whole(err))
			return nil, errBroken
		case ctx.Err() == nil:
			d.tally.madeAgain(err)
			pause(ctx, 20*time.Millisecond)
		}
	}
	return nil, ctx.Err()
}

// attempt makes one call, at each replica in turn.
func (d *desk) attempt(ctx context.Context, role, method string, request proto.Message) (proto.Message, error) {
	response, err := responseOf(method)
	if err != nil {
		return nil, err
	}
	replicas := d.town.roles[role]
	d.turn++
	ctx, cancel := context.WithTimeout(rpc.WithToken(ctx, d.token), attemptTime)
	defer cancel()
	if err := replicas[d.turn%len(replicas)].conn.Invoke(ctx, method, request, response); err != nil {
		return nil, err
	}
	return response, nil
}

// responseOf makes an empty answer of a method, as in /ramprow.job.v1.JobService/OpenJob.
func responseOf(method string) (proto.Message, error) {
	name := protoreflect.FullName(strings.ReplaceAll(strings.TrimPrefix(method, "/"), "/", "."))
	found, err := protoregistry.GlobalFiles.FindDescriptorByName(name)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", method, err)
	}
	described, ok := found.(protoreflect.MethodDescriptor)
	if !ok {
		return nil, fmt.Errorf("%s is no method", method)
	}
	kind, err := protoregistry.GlobalTypes.FindMessageByName(described.Output().FullName())
	if err != nil {
		return nil, fmt.Errorf("%s: %w", method, err)
	}
	return kind.New().Interface(), nil
}

func requestID(m proto.Message) string {
	if r, ok := m.(interface{ GetRequestId() string }); ok {
		return r.GetRequestId()
	}
	return ""
}

func revisionOf(m proto.Message) uint64 {
	if of, ok := m.(interface{ GetReceipt() *commonv1.Receipt }); ok {
		return of.GetReceipt().GetRevision()
	}
	return 0
}

// whole tells an error with its kind and reason.
func whole(err error) string {
	f, ok := errors.AsType[*fault.Error](err)
	if !ok {
		return err.Error()
	}
	return fmt.Sprintf("%s %s: %s", f.Kind, f.Reason, f.Message)
}

func pause(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-ctx.Done():
	}
}
