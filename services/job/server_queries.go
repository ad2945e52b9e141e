package job

import (
	"context"
	"errors"
	"slices"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/command"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/readmodel"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// GetCatalogue gives one edition, or the newest.
func (s *Server) GetCatalogue(ctx context.Context, req *jobv1.GetCatalogueRequest) (*jobv1.GetCatalogueResponse, error) {
	var found *catalogue.Catalogue
	err := s.view(ctx, func(st *State) (err error) {
		found, err = st.editionOf(req.GetCatalogue(), req.GetEdition())
		return err
	})
	if err != nil {
		return nil, err
	}
	return &jobv1.GetCatalogueResponse{Catalogue: found.Message(), Version: found.Version()}, nil
}

// editionOf finds an edition by number; 0 is the newest.
func (s *State) editionOf(id string, edition uint32) (*catalogue.Catalogue, error) {
	if edition == 0 {
		return s.edition(id)
	}
	for _, c := range s.editions {
		if c.Message().GetId() == id && c.Message().GetEdition() == edition {
			return c, nil
		}
	}
	return nil, fault.New(fault.NotFound, "CATALOGUE_NOT_FOUND", "this site has no edition %d of %s", edition, id)
}

// ListCatalogues gives the newest edition of each.
func (s *Server) ListCatalogues(ctx context.Context, _ *jobv1.ListCataloguesRequest) (*jobv1.ListCataloguesResponse, error) {
	response := &jobv1.ListCataloguesResponse{}
	err := s.view(ctx, func(st *State) error {
		response.Catalogues = nil
		for _, version := range st.newest {
			m := st.editions[version].Message()
			response.Catalogues = append(response.Catalogues, &jobv1.CatalogueSummary{
				Catalogue: m.GetId(), Edition: m.GetEdition(), Title: m.GetTitle(), Notice: m.GetNotice(),
				Pieces: count(m.GetPieces()), Joints: count(m.GetJoints()),
			})
		}
		return nil
	})
	slices.SortFunc(response.GetCatalogues(), func(a, b *jobv1.CatalogueSummary) int {
		return strings.Compare(a.GetCatalogue(), b.GetCatalogue())
	})
	return response, err
}

// view reads the writer's state of the caller's site.
func (s *Server) view(ctx context.Context, fn func(*State) error) error {
	who, err := command.Caller(ctx)
	if err != nil {
		return err
	}
	_, err = s.runner.View(ctx, who.Site, fn)
	return err
}

// Diagnose ranks the possible causes and the next best actions.
func (s *Server) Diagnose(ctx context.Context, req *jobv1.DiagnoseRequest) (*jobv1.DiagnoseResponse, error) {
	j, c, err := s.look(ctx, req.GetJob())
	if err != nil {
		return nil, err
	}
	t, err := s.taught(ctx, c)
	if err != nil {
		return nil, err
	}
	d, err := s.cars.of(j, c, t)
	if err != nil {
		return nil, err
	}
	return diagnose(j, c, d)
}

// PreviewPlan shows what repairing these causes would take.
func (s *Server) PreviewPlan(ctx context.Context, req *jobv1.PreviewPlanRequest) (*jobv1.PreviewPlanResponse, error) {
	j, c, err := s.look(ctx, req.GetJob())
	if err != nil {
		return nil, err
	}
	if err := refuseFinished(j); err != nil {
		return nil, err
	}
	causes := slices.Sorted(slices.Values(req.GetCauses()))
	response := &jobv1.PreviewPlanResponse{}
	if response.Plan, err = planThrough(j, c, causes, j.asked(causes, req.GetWay())); err != nil {
		return nil, err
	}
	t, err := s.taught(ctx, c)
	if err != nil {
		return nil, err
	}
	d, err := s.cars.of(j, c, t)
	if err != nil {
		return nil, err
	}
	response.WhileOpen, err = whileOpen(j, c, causes, d)
	return response, err
}

// ComparePlans plans the same work by every way worth a look.
func (s *Server) ComparePlans(ctx context.Context, req *jobv1.ComparePlansRequest) (*jobv1.ComparePlansResponse, error) {
	j, c, err := s.look(ctx, req.GetJob())
	if err != nil {
		return nil, err
	}
	if err := refuseFinished(j); err != nil {
		return nil, err
	}
	alternatives, err := compare(j, c, slices.Sorted(slices.Values(req.GetCauses())))
	return &jobv1.ComparePlansResponse{Alternatives: alternatives}, err
}

// PreviewInvoice shows the invoice as it would be, and what is missing.
func (s *Server) PreviewInvoice(ctx context.Context, req *jobv1.PreviewInvoiceRequest) (*jobv1.PreviewInvoiceResponse, error) {
	j, c, err := s.look(ctx, req.GetJob())
	if err != nil {
		return nil, err
	}
	if j.Invoice != nil {
		return &jobv1.PreviewInvoiceResponse{Invoice: j.Invoice}, nil
	}
	seller, err := s.seller(ctx)
	if err != nil {
		return nil, err
	}
	if j, err = s.read(ctx, j); err != nil {
		return nil, err
	}
	invoices, unmet := j.preview(c, seller, s.now())
	response := &jobv1.PreviewInvoiceResponse{Unmet: unmet}
	if len(invoices) > 0 {
		response.Invoice = invoices[len(invoices)-1] // the customer's is the last
	}
	return response, nil
}

// GetJob gives one job whole.
func (s *Server) GetJob(ctx context.Context, req *jobv1.GetJobRequest) (*jobv1.GetJobResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	job := &jobv1.Job{}
	_, err = s.views.Get(ctx, who.Site, readmodel.Key{Model: modelJob, ID: req.GetJob()}, req.GetMinRevision(), job)
	if fault.KindOf(err) == fault.NotFound {
		return nil, jobNotFound(req.GetJob())
	}
	if err != nil {
		return nil, err
	}
	return &jobv1.GetJobResponse{Job: job}, nil
}

// ListJobs gives jobs, newest first.
func (s *Server) ListJobs(ctx context.Context, req *jobv1.ListJobsRequest) (*jobv1.ListJobsResponse, error) {
	index := indexOpen
	switch {
	case req.GetState() != jobv1.JobState_JOB_STATE_UNSPECIFIED:
		index = indexState(req.GetState())
	case req.GetWithFinished():
		index = indexAll
	}
	page, err := s.list(ctx, readmodel.ListQuery{
		Model: modelSummary, Index: index, PageSize: int(req.GetPageSize()), PageToken: req.GetPageToken(), MinRevision: req.GetMinRevision(),
	}, func() proto.Message { return &jobv1.JobSummary{} })
	if err != nil {
		return nil, err
	}
	response := &jobv1.ListJobsResponse{NextPageToken: page.NextToken}
	for _, row := range page.Rows {
		response.Jobs = append(response.Jobs, row.(*jobv1.JobSummary)) //nolint:forcetypeassert // made above
	}
	return response, nil
}

// GetJobHistory tells a job's story.
func (s *Server) GetJobHistory(ctx context.Context, req *jobv1.GetJobHistoryRequest) (*jobv1.GetJobHistoryResponse, error) {
	if _, err := s.GetJob(ctx, &jobv1.GetJobRequest{Job: req.GetJob(), MinRevision: req.GetMinRevision()}); err != nil {
		return nil, err
	}
	page, err := s.list(ctx, readmodel.ListQuery{
		Model: modelHistory, Index: indexStory(req.GetJob()), PageSize: int(req.GetPageSize()), PageToken: req.GetPageToken(), MinRevision: req.GetMinRevision(),
	}, func() proto.Message { return &jobv1.HistoryEntry{} })
	if err != nil {
		return nil, err
	}
	response := &jobv1.GetJobHistoryResponse{NextPageToken: page.NextToken}
	for _, row := range page.Rows {
		response.Entries = append(response.Entries, row.(*jobv1.HistoryEntry)) //nolint:forcetypeassert // made above
	}
	return response, nil
}

func (s *Server) list(ctx context.Context, q readmodel.ListQuery, newRow func() proto.Message) (readmodel.Page, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return readmodel.Page{}, err
	}
	q.Site = who.Site
	return s.views.List(ctx, q, newRow)
}

// WatchJob gives the job as it stands and goes on with every change.
func (s *Server) WatchJob(req *jobv1.WatchJobRequest, stream grpc.ServerStreamingServer[jobv1.WatchJobResponse]) error {
	ctx := stream.Context()
	if _, err := s.GetJob(ctx, &jobv1.GetJobRequest{Job: req.GetJob()}); err != nil {
		return err
	}
	return s.watch(ctx, readmodel.WatchQuery{
		Model: modelJob, Keys: []readmodel.Key{{Model: modelJob, ID: req.GetJob()}},
		Filter: func(k readmodel.Key) bool { return k.ID == req.GetJob() },
	}, func(c readmodel.Change) error {
		job, ok := c.Row.(*jobv1.Job)
		if !ok {
			return nil
		}
		return stream.Send(&jobv1.WatchJobResponse{Job: job, Revision: c.Revision})
	})
}

// WatchJobs gives every job that is not finished and goes on with every change.
func (s *Server) WatchJobs(_ *jobv1.WatchJobsRequest, stream grpc.ServerStreamingServer[jobv1.WatchJobsResponse]) error {
	ctx := stream.Context()
	sent := map[string]bool{} // open jobs that the caller knows of
	revision, err := s.sendOpen(ctx, stream, sent)
	if err != nil {
		return err
	}
	if err := stream.Send(&jobv1.WatchJobsResponse{Revision: revision, CaughtUp: true}); err != nil {
		return err
	}
	return s.watch(ctx, readmodel.WatchQuery{Model: modelSummary, Present: true}, func(c readmodel.Change) error {
		job, ok := c.Row.(*jobv1.JobSummary)
		if !ok || c.Revision <= revision || over(job.GetState()) && !sent[job.GetName()] {
			return nil
		}
		if sent[job.GetName()] = true; over(job.GetState()) {
			delete(sent, job.GetName())
		}
		return stream.Send(&jobv1.WatchJobsResponse{Job: job, Revision: c.Revision})
	})
}

func over(s jobv1.JobState) bool {
	return s == jobv1.JobState_JOB_STATE_CLOSED || s == jobv1.JobState_JOB_STATE_CANCELLED
}

// sendOpen sends all open jobs, page by page, and gives the revision that the
// first page stands for: what changes while others are read is told again.
func (s *Server) sendOpen(ctx context.Context, stream grpc.ServerStreamingServer[jobv1.WatchJobsResponse], sent map[string]bool) (uint64, error) {
	var revision uint64
	q := readmodel.ListQuery{Model: modelSummary, Index: indexOpen}
	for {
		page, err := s.list(ctx, q, func() proto.Message { return &jobv1.JobSummary{} })
		if err != nil {
			return 0, err
		}
		if q.PageToken == "" {
			revision = page.Revision
		}
		for _, row := range page.Rows {
			job := row.(*jobv1.JobSummary) //nolint:forcetypeassert // made above
			sent[job.GetName()] = true
			if err := stream.Send(&jobv1.WatchJobsResponse{Job: job, Revision: page.Revision}); err != nil {
				return 0, err
			}
		}
		if page.NextToken == "" {
			return revision, nil
		}
		q.PageToken = page.NextToken
	}
}

// watch goes on until the caller has enough; that is no error.
func (s *Server) watch(ctx context.Context, q readmodel.WatchQuery, fn func(readmodel.Change) error) error {
	who, err := command.Caller(ctx)
	if err != nil {
		return err
	}
	q.Site = who.Site
	err = s.views.Watch(ctx, q, fn)
	if errors.Is(err, context.Canceled) {
		return nil
	}
	return err
}
