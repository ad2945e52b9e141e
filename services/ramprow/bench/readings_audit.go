package bench

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/lifecycle"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/telemetry"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
	"ramprow/services/ramprow/stack"
)

const (
	auditRole = "torque-audit"
	auditSite = "bench"
	// Each car has joints of bolts with a torque stage, in the order of their numbers.
	jointsPerCar, boltsPerJoint = 10, 20
	boltsPerCar                 = jointsPerCar * boltsPerJoint
	// carsPerWrench, and of one commit of the job's log: 4,000 readings, since ISO
	// 6789-1 wants a wrench calibrated anew after 5,000.
	carsPerWrench = 20
)

// audit is a torque audit at work over an embedded broker and Redis. The job
// service's log is written by the measurement itself, which says of each car
// that its diagnosis is confirmed; beside it stands a server that only receives.
type audit struct {
	backend   *stack.Backend
	client    torqueauditv1.TorqueAuditServiceClient
	receiver  torqueauditv1.TorqueAuditServiceClient
	jobs      *sitelog.Runner[struct{}]
	cars      int64 // opened so far
	token     string
	telemetry *telemetry.Telemetry
	closers   *lifecycle.Closers
	stop      context.CancelFunc
	ended     chan error
}

// as gives a context in which calls are made by the technician.
func (s *audit) as(ctx context.Context) context.Context { return rpc.WithToken(ctx, s.token) }

// openAudit starts everything.
func openAudit(ctx context.Context, dir string) (_ *audit, err error) {
	s := &audit{closers: &lifecycle.Closers{}}
	defer func() {
		if err != nil {
			err = errors.Join(err, s.close())
		}
	}()
	silent := func(string) string { return "" }
	s.telemetry, err = telemetry.Start(ctx, telemetry.Config{Service: "ramprow-bench", Log: io.Discard, LogLevel: slog.LevelError, Getenv: silent})
	if err != nil {
		return nil, err
	}
	if s.backend, err = stack.Embedded(dir, s.telemetry, s.closers); err != nil {
		return nil, err
	}
	key, err := identity.NewKey()
	if err != nil {
		return nil, err
	}
	verifier, err := identity.NewVerifier(identity.VerifierConfig{Keys: []ed25519.PublicKey{key.Public()}})
	if err != nil {
		return nil, err
	}
	who := identity.Identity{Site: auditSite, Person: "bench", Roles: []identity.Role{identity.Technician, identity.Owner}}
	if s.token, err = identity.NewSigner(identity.SignerConfig{Key: key}).Issue(who, tokenLife, time.Now()); err != nil {
		return nil, err
	}
	return s, s.serve(ctx, verifier)
}

// serve starts the role and the server that only receives, and dials both.
func (s *audit) serve(ctx context.Context, verifier *identity.Verifier) error {
	role, err := stack.RoleNamed(auditRole)
	if err != nil {
		return err
	}
	service, err := role.Start(ctx, s.backend, stack.Place{Address: "127.0.0.1:0", Verifier: verifier}, s.closers)
	if err != nil {
		return err
	}
	receiver, err := rpc.NewServer(rpc.ServerConfig{Telemetry: s.telemetry, Verifier: verifier})
	if err != nil {
		return err
	}
	torqueauditv1.RegisterTorqueAuditServiceServer(receiver, receives{})
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	s.closers.Add(lifecycle.Closer{Name: "the server that only receives", Close: receiver.Shutdown})
	s.jobs, err = sitelog.Open(ctx, s.backend.Log, sitelog.Machine[struct{}]{
		Service: "job", New: func(string) struct{} { return struct{}{} }, Evolve: func(struct{}, sitelog.Event) {},
	}, sitelog.Options{Logger: s.telemetry.Logger()})
	if err != nil {
		return err
	}
	s.closers.Add(lifecycle.Closer{Name: "the job's log", Close: func(context.Context) error {
		s.jobs.Close()
		return nil
	}})
	// It is closed in order at the end, not torn away when ctx ends.
	running, stop := context.WithCancel(context.WithoutCancel(ctx))
	s.stop, s.ended = stop, make(chan error, 1)
	process := lifecycle.Process{Log: s.telemetry.Logger(), Closers: s.closers, Ready: service.Ready}
	tasks := append(service.Tasks(), lifecycle.Task{
		Name: "the server that only receives", Run: func(context.Context) error { return receiver.Serve(listener) },
	})
	go func() { s.ended <- process.Run(running, tasks...) }()
	conn, err := s.dial(service.Address)
	if err != nil {
		return err
	}
	bare, err := s.dial(listener.Addr().String())
	s.client, s.receiver = torqueauditv1.NewTorqueAuditServiceClient(conn), torqueauditv1.NewTorqueAuditServiceClient(bare)
	return err
}

// dial connects; the connection is closed before any server.
func (s *audit) dial(target string) (*grpc.ClientConn, error) {
	conn, err := rpc.Dial(rpc.ClientConfig{Telemetry: s.telemetry, Target: target})
	if err != nil {
		return nil, err
	}
	s.closers.Add(lifecycle.Closer{Name: "a client", Close: func(context.Context) error { return conn.Close() }})
	return conn, nil
}

// register gives the workshop a wrench, calibrated a month ago.
func (s *audit) register(ctx context.Context, name string) error {
	now := time.Now()
	_, err := s.client.SetWrench(s.as(ctx), &torqueauditv1.SetWrenchRequest{RequestId: rand.Text(), Wrench: &torqueauditv1.Wrench{
		Name: name, Title: "Wrench for measuring", Kind: torqueauditv1.WrenchKind_WRENCH_KIND_TORQUE_ANGLE,
		MinNm: 5, MaxNm: 200, DeviationPercent: 4,
		CalibratedAt: timestamppb.New(now.AddDate(0, -1, 0)), CalibrationDue: timestamppb.New(now.AddDate(0, 11, 0)),
	}})
	if err != nil {
		return fmt.Errorf("register the wrench: %w", err)
	}
	return nil
}

// open has so many more cars to be tightened, and waits until they are.
func (s *audit) open(ctx context.Context, cars int64) error {
	for opened := int64(0); opened < cars; {
		var events []proto.Message
		for ; len(events) < carsPerWrench && opened < cars; opened++ {
			s.cars++
			events = append(events, carToTighten(s.cars))
			if s.cars%carsPerWrench == 1 {
				if err := s.register(ctx, wrenchName(s.cars)); err != nil {
					return err
				}
			}
		}
		_, err := s.jobs.Do(ctx, auditSite, sitelog.Command[struct{}]{
			Method: "/bench/Open", RequestID: rand.Text(), Request: events[0],
			Decide: func(struct{}, sitelog.Input) (sitelog.Decision, error) {
				return sitelog.Decision{Events: events, Response: events[0]}, nil
			},
		})
		if err != nil {
			return fmt.Errorf("open cars: %w", err)
		}
	}
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		_, err := s.client.GetSheet(s.as(ctx), &torqueauditv1.GetSheetRequest{Job: carName(s.cars)})
		if err == nil {
			return nil
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("wait for the sheet of %s: %w", carName(s.cars), err)
		case <-tick.C:
		}
	}
}

func carName(n int64) string { return fmt.Sprintf("jobs/%d", n) }

// wrenchName is of the wrench that a car is tightened with.
func wrenchName(car int64) string { return fmt.Sprintf("wrenches/bench-%d", (car-1)/carsPerWrench+1) }

func jointName(n int64) string { return fmt.Sprintf("joint-%d", n) }

// carToTighten is a job whose joints are all open: they stand in no step's way.
func carToTighten(n int64) *jobv1.DiagnosisConfirmed {
	plan := &jobv1.Plan{Revision: 1}
	for j := range int64(jointsPerCar) {
		due := &jobv1.JointDue{Joint: jointName(j + 1), Title: fmt.Sprintf("Joint %d", j+1), Fasteners: boltsPerJoint}
		for bolt := range uint32(boltsPerJoint) {
			due.Order = append(due.Order, bolt+1)
		}
		due.Designs = []*jobv1.JointStages{{Stages: []*cataloguev1.Stage{
			{Kind: cataloguev1.Stage_KIND_TORQUE, TorqueNm: 10, TorqueMinusNm: 1, TorquePlusNm: 1},
		}}}
		plan.Joints = append(plan.Joints, due)
	}
	return &jobv1.DiagnosisConfirmed{Job: carName(n), Vehicle: &jobv1.Vehicle{Plate: fmt.Sprintf("BE %d", n)}, Plan: plan}
}

// close ends clients, servers and the broker, and waits for them.
func (s *audit) close() error {
	var failures []error
	if s.stop != nil {
		s.stop()
		failures = append(failures, <-s.ended)
	} else {
		failures = append(failures, s.closers.Close(context.Background()))
	}
	if s.telemetry != nil {
		failures = append(failures, s.telemetry.Shutdown(context.Background()))
	}
	return errors.Join(failures...)
}

// receives takes a curve off the wire as the service does, and does nothing with it.
type receives struct {
	torqueauditv1.UnimplementedTorqueAuditServiceServer
}

// RecordCurve implements TorqueAuditServiceServer.
func (receives) RecordCurve(stream grpc.ClientStreamingServer[torqueauditv1.RecordCurveRequest, torqueauditv1.RecordCurveResponse]) error {
	for {
		_, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return stream.SendAndClose(&torqueauditv1.RecordCurveResponse{})
		}
		if err != nil {
			return err
		}
	}
}
