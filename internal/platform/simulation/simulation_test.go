package simulation_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/simulation"
	"ramprow/internal/platform/sitelog"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// bell counts how often it was rung. It lends its method from LogService.
type bell struct {
	logv1.UnimplementedLogServiceServer
	runner *sitelog.Runner[*int]
}

func (b bell) DropParked(ctx context.Context, req *logv1.DropParkedRequest) (*logv1.DropParkedResponse, error) {
	response, receipt, err := command.Run(ctx, b.runner, req, func(*int, sitelog.Input) ([]proto.Message, *logv1.DropParkedResponse, error) {
		return []proto.Message{durationpb.New(time.Second)}, &logv1.DropParkedResponse{}, nil
	})
	if err != nil {
		return nil, err
	}
	response.Receipt = receipt
	return response, nil
}

func belfry() simulation.Service {
	return simulation.Service{Name: "bell", Start: func(ctx context.Context, log sitelog.Log, o sitelog.Options, r grpc.ServiceRegistrar) (func(), error) {
		runner, err := sitelog.Open(ctx, log, sitelog.Machine[*int]{
			Service: "bell",
			New:     func(string) *int { return new(int) },
			Evolve:  func(n *int, _ sitelog.Event) { *n++ },
		}, o)
		if err != nil {
			return nil, err
		}
		logv1.RegisterLogServiceServer(r, bell{runner: runner})
		return runner.Abandon, nil
	}}
}

type ringing struct{ heard int }

func (ringing) Next(_ *rand.Rand, id string) (simulation.Request, bool) {
	return simulation.Request{
		Service: "bell", Method: logv1.LogService_DropParked_FullMethodName,
		Message: &logv1.DropParkedRequest{RequestId: id, Reason: "ring"}, Who: identity.Identity{Site: "tower", Person: "kim"},
	}, true
}

func (r *ringing) Heard(c *simulation.Call) {
	if c.Err == nil {
		r.heard++
	}
}

func ring(t *testing.T, seed uint64, keep []int) (simulation.Result, *ringing) {
	t.Helper()
	scenario := &ringing{}
	result, err := simulation.Run(simulation.Config{
		Seed: seed, Steps: 200, Keep: keep, Services: []simulation.Service{belfry()}, Site: "tower",
		Began: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC), Scenario: scenario,
	})
	if err != nil {
		t.Fatal(err)
	}
	return result, scenario
}

// Whatever happens, a bell that was asked to ring rings once, and everybody
// hears of it in the end.
func TestEveryRequestIsDoneOnce(t *testing.T) {
	for seed := range uint64(60) {
		result, scenario := ring(t, seed, nil)
		rung := map[string]int{}
		for _, r := range result.Records {
			commit, err := sitelog.DecodeCommit(r.Data)
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range commit.GetEntries() {
				rung[e.GetCommand().GetRequestId()]++
			}
		}
		asked := map[string]bool{}
		for _, c := range result.Calls {
			id := idOf(c)
			if asked[id] = true; rung[id] != 1 {
				t.Errorf("seed %d: %s was done %d times", seed, id, rung[id])
			}
		}
		if len(asked) != len(rung) || scenario.heard < len(asked) || len(asked) < 20 {
			t.Errorf("seed %d: %d asked, %d done, %d answered", seed, len(asked), len(rung), scenario.heard)
		}
	}
}

func TestARunCanBeRepeated(t *testing.T) {
	for seed := range uint64(20) {
		first, _ := ring(t, seed, nil)
		second, _ := ring(t, seed, nil)
		if a, b := strings.Join(first.Transcript, "\n"), strings.Join(second.Transcript, "\n"); a != b {
			t.Fatalf("seed %d went two ways:\n%s\n\n%s", seed, a, b)
		}
		a, err := simulation.Digest(first.Records)
		if err != nil {
			t.Fatal(err)
		}
		if b, err := simulation.Digest(second.Records); err != nil || a != b {
			t.Errorf("seed %d left two logs (%v)", seed, err)
		}
	}
}

// A step does what it does by its number, not by those before it.
func TestStepsCanBeLeftOut(t *testing.T) {
	whole, _ := ring(t, 3, nil)
	last := whole.Calls[0]
	for _, c := range whole.Calls {
		if idOf(c) == fmt.Sprintf("request-%d", c.Step) {
			last = c // and no repetition of an earlier one
		}
	}
	alone, _ := ring(t, 3, []int{last.Step})
	if len(alone.Calls) == 0 {
		t.Errorf("step %d alone made no call", last.Step)
	}
	for _, c := range alone.Calls { // what has no answer is asked again in the end
		if idOf(c) != idOf(last) {
			t.Errorf("step %d alone asked for %s", last.Step, idOf(c))
		}
	}
}

func idOf(c *simulation.Call) string { return c.Message.(*logv1.DropParkedRequest).GetRequestId() }
