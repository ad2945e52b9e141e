package job

import (
	"context"
	"slices"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/command"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// learningServer answers LearningService over the same writer.
type learningServer struct {
	jobv1.UnimplementedLearningServiceServer
	*Server
}

// taught gives a catalogue's cases that count from the writer's state.
func (s *Server) taught(ctx context.Context, c *catalogue.Catalogue) (taught, error) {
	var t taught
	err := s.view(ctx, func(st *State) error {
		t = st.lessons.of(c.Message().GetId())
		return nil
	})
	return t, err
}

// ListRates gives the catalogue's rates beside what the site's cases have made of them.
func (s *learningServer) ListRates(ctx context.Context, req *jobv1.ListRatesRequest) (*jobv1.ListRatesResponse, error) {
	var c *catalogue.Catalogue
	var t taught
	err := s.view(ctx, func(st *State) (err error) {
		c, err = st.edition(req.GetCatalogue())
		t = st.lessons.of(req.GetCatalogue())
		return err
	})
	if err != nil {
		return nil, err
	}
	return rates(c, t, req.GetAll())
}

// ListTimes gives how long each piece of work takes, as written and as learned.
func (s *learningServer) ListTimes(ctx context.Context, req *jobv1.ListTimesRequest) (*jobv1.ListTimesResponse, error) {
	var c *catalogue.Catalogue
	var sheet *timesheet
	err := s.view(ctx, func(st *State) (err error) {
		c, err = st.edition(req.GetCatalogue())
		sheet = st.times[req.GetCatalogue()]
		return err
	})
	if err != nil {
		return nil, err
	}
	return sheet.learnedTimes(c), nil
}

// ListCases gives a catalogue's cases, the newest first.
func (s *learningServer) ListCases(ctx context.Context, req *jobv1.ListCasesRequest) (*jobv1.ListCasesResponse, error) {
	response := &jobv1.ListCasesResponse{}
	err := s.view(ctx, func(st *State) error {
		if _, err := st.edition(req.GetCatalogue()); err != nil {
			return err
		}
		response.Cases = nil
		for _, name := range slices.Backward(st.lessons.Order) {
			if c := st.lessons.Cases[name]; c.GetCatalogue() == req.GetCatalogue() {
				response.Cases = append(response.Cases, c)
			}
		}
		return nil
	})
	return response, err
}

// StrikeCase makes a case count no more.
func (s *learningServer) StrikeCase(ctx context.Context, req *jobv1.StrikeCaseRequest) (*jobv1.StrikeCaseResponse, error) {
	made, receipt, err := command.Run(ctx, s.runner, req, func(st *State, in sitelog.Input) ([]proto.Message, *jobv1.Case, error) {
		events, err := strikeCase(st, req)
		return events, marked(st, req.GetJob(), true, req.GetReason(), in), err
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.StrikeCaseResponse{Case: made, Receipt: receipt}, nil
}

// RestoreCase makes it count again.
func (s *learningServer) RestoreCase(ctx context.Context, req *jobv1.RestoreCaseRequest) (*jobv1.RestoreCaseResponse, error) {
	made, receipt, err := command.Run(ctx, s.runner, req, func(st *State, in sitelog.Input) ([]proto.Message, *jobv1.Case, error) {
		events, err := restoreCase(st, req)
		return events, marked(st, req.GetJob(), false, req.GetReason(), in), err
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.RestoreCaseResponse{Case: made, Receipt: receipt}, nil
}

// marked is a case as the command leaves it; the state is not changed.
func marked(st *State, job string, struck bool, reason string, in sitelog.Input) *jobv1.Case {
	c := proto.CloneOf(st.lessons.Cases[job])
	if c != nil {
		c.Struck, c.Reason, c.By = struck, reason, in.Actor.Person
	}
	return c
}
