package job

import (
	"context"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/command"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/personal"
	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// Server answers JobService. Requests and responses end here.
type Server struct {
	jobv1.UnimplementedJobServiceServer
	runner *sitelog.Runner[*State]
	views  *readmodel.Views[*State]
	cars   diagnosers
	now    func() time.Time
	keys   *personal.Vault // nil: personal data is written as it comes
}

// NewServer makes a server over a site's writer and its views.
func NewServer(runner *sitelog.Runner[*State], views *readmodel.Views[*State], now func() time.Time) *Server {
	return &Server{runner: runner, views: views, now: now}
}

// Sealing lets personal data be written sealed under keys of a vault.
func (s *Server) Sealing(keys *personal.Vault) *Server {
	s.keys = keys
	return s
}

// Register puts the service on a gRPC server.
func (s *Server) Register(r grpc.ServiceRegistrar) {
	jobv1.RegisterJobServiceServer(r, s)
	jobv1.RegisterBillingServiceServer(r, &billingServer{Server: s})
	jobv1.RegisterLearningServiceServer(r, &learningServer{Server: s})
	jobv1.RegisterFiguresServiceServer(r, &figuresServer{Server: s})
	jobv1.RegisterPersonalDataServiceServer(r, &personalServer{Server: s})
}

// decision is what a call brings about at one job.
type decision func(j *Job, c *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error)

// jobRequest is a command to one job.
type jobRequest interface {
	command.Request
	GetJob() string
}

// change runs a command at a job that is not finished, and gives the job after it.
func (s *Server) change(ctx context.Context, req jobRequest, decide decision) (*jobv1.Job, *commonv1.Receipt, error) {
	return s.run(ctx, req, func(st *State, in sitelog.Input) (*Job, []proto.Message, error) {
		j, err := st.openJob(req.GetJob())
		if err != nil {
			return nil, nil, err
		}
		c, err := st.edition(j.Version)
		if err != nil {
			return nil, nil, err
		}
		events, err := decide(j, c, in)
		return j, events, err
	})
}

// run keeps only the job's name as the remembered answer: the job itself is in
// the log already. The caller gets it as the command left it, and as it is now
// when a request_id comes again.
func (s *Server) run(ctx context.Context, req command.Request,
	decide func(*State, sitelog.Input) (*Job, []proto.Message, error),
) (*jobv1.Job, *commonv1.Receipt, error) {
	var after *jobv1.Job
	name, receipt, err := command.Run(ctx, s.runner, req, func(st *State, in sitelog.Input) ([]proto.Message, *jobv1.Job, error) {
		j, events, err := decide(st, in)
		if err != nil {
			return nil, nil, err
		}
		after = outcome(j, events, in).resource()
		return events, &jobv1.Job{Name: after.GetName()}, nil
	})
	if err != nil {
		return nil, nil, err
	}
	if receipt.GetRepeatedAnswer() || after == nil {
		j, _, err := s.look(ctx, name.GetName())
		if err != nil {
			return nil, nil, err
		}
		after = j.resource()
	}
	return after, receipt, nil
}

// outcome is the job as the events leave it. j is nil for the event that opens it.
func outcome(j *Job, events []proto.Message, in sitelog.Input) *Job {
	h := happening{at: in.Now, by: in.Actor.Person}
	if j == nil {
		return openedJob(events[0].(*jobv1.JobOpened), h) //nolint:forcetypeassert // only OpenJob has no job yet
	}
	after := j.clone()
	for _, e := range events {
		after.apply(e, h)
	}
	return after
}

// look gives a copy of a job and its catalogue from the writer's state, for
// questions that need the engines.
func (s *Server) look(ctx context.Context, name string) (*Job, *catalogue.Catalogue, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, nil, err
	}
	var j *Job
	var c *catalogue.Catalogue
	_, err = s.runner.View(ctx, who.Site, func(st *State) error {
		found, err := st.job(name)
		if err != nil {
			return err
		}
		j = found.clone()
		c, err = st.edition(j.Version)
		return err
	})
	return j, c, err
}

// refuseFinished is for questions that make sense only while a job is open.
func refuseFinished(j *Job) error {
	if j.finished() {
		return fault.New(fault.Precondition, "JOB_FINISHED", "%s is %s", j.Name, stateWord(j.stage())).With("job", j.Name)
	}
	return nil
}
