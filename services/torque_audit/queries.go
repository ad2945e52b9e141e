package torqueaudit

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/readmodel"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// GetWrench gives one wrench.
func (s *Server) GetWrench(ctx context.Context, req *pb.GetWrenchRequest) (*pb.GetWrenchResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	out := &pb.Wrench{}
	_, err = s.views.Get(ctx, who.Site, readmodel.Key{Model: modelWrench, ID: req.GetWrench()}, req.GetMinRevision(), out)
	if fault.KindOf(err) == fault.NotFound {
		return nil, noWrench(req.GetWrench())
	}
	if err != nil {
		return nil, err
	}
	return &pb.GetWrenchResponse{Wrench: out}, nil
}

// ListWrenches gives the register by name.
func (s *Server) ListWrenches(ctx context.Context, req *pb.ListWrenchesRequest) (*pb.ListWrenchesResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	page, err := s.views.List(ctx, readmodel.ListQuery{
		Site: who.Site, Model: modelWrench, Index: indexAll, PageSize: int(req.GetPageSize()),
		PageToken: req.GetPageToken(), MinRevision: req.GetMinRevision(),
	}, func() proto.Message { return &pb.Wrench{} })
	if err != nil {
		return nil, err
	}
	return &pb.ListWrenchesResponse{Wrenches: rowsOf[*pb.Wrench](page), NextPageToken: page.NextToken}, nil
}

// ListLookBacks gives what failed wrenches have put in doubt, newest first.
func (s *Server) ListLookBacks(ctx context.Context, req *pb.ListLookBacksRequest) (*pb.ListLookBacksResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	index := indexOpen
	if req.GetWithSettled() {
		index = indexAll
	}
	page, err := s.views.List(ctx, readmodel.ListQuery{
		Site: who.Site, Model: modelDoubt, Index: index, PageSize: int(req.GetPageSize()),
		PageToken: req.GetPageToken(), Descending: true, MinRevision: req.GetMinRevision(),
	}, func() proto.Message { return &pb.LookBack{} })
	if err != nil {
		return nil, err
	}
	return &pb.ListLookBacksResponse{LookBacks: rowsOf[*pb.LookBack](page), NextPageToken: page.NextToken}, nil
}

// ListRechecks gives what is to be checked again, most urgent first.
func (s *Server) ListRechecks(ctx context.Context, req *pb.ListRechecksRequest) (*pb.ListRechecksResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	page, err := s.views.List(ctx, readmodel.ListQuery{
		Site: who.Site, Model: modelRecheck, Index: indexDue, PageSize: int(req.GetPageSize()),
		PageToken: req.GetPageToken(), MinRevision: req.GetMinRevision(),
	}, func() proto.Message { return &pb.JointRecheck{} })
	if err != nil {
		return nil, err
	}
	return &pb.ListRechecksResponse{Rechecks: rowsOf[*pb.JointRecheck](page), NextPageToken: page.NextToken}, nil
}

// GetSheet gives a job's tightening audit.
func (s *Server) GetSheet(ctx context.Context, req *pb.GetSheetRequest) (*pb.GetSheetResponse, error) {
	sheet, err := s.read(ctx, req.GetJob(), req.GetMinRevision())
	if err != nil {
		return nil, err
	}
	return &pb.GetSheetResponse{Sheet: sheet}, nil
}

func (s *Server) read(ctx context.Context, job string, minRevision uint64) (*pb.Sheet, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	out := &pb.Sheet{}
	_, err = s.views.Get(ctx, who.Site, readmodel.Key{Model: modelSheet, ID: job}, minRevision, out)
	if fault.KindOf(err) == fault.NotFound {
		return nil, noSheet(job)
	}
	return out, err
}

// ListSheets gives sheets, newest job first.
func (s *Server) ListSheets(ctx context.Context, req *pb.ListSheetsRequest) (*pb.ListSheetsResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	index := indexOpen
	if req.GetWithFinished() {
		index = indexAll
	}
	page, err := s.views.List(ctx, readmodel.ListQuery{
		Site: who.Site, Model: modelSummary, Index: index, PageSize: int(req.GetPageSize()),
		PageToken: req.GetPageToken(), Descending: true, MinRevision: req.GetMinRevision(),
	}, func() proto.Message { return &pb.SheetSummary{} })
	if err != nil {
		return nil, err
	}
	return &pb.ListSheetsResponse{Sheets: rowsOf[*pb.SheetSummary](page), NextPageToken: page.NextToken}, nil
}

// GetNextTurn says which fastener comes next, at which stage, and how.
func (s *Server) GetNextTurn(ctx context.Context, req *pb.GetNextTurnRequest) (*pb.GetNextTurnResponse, error) {
	sheet, err := s.read(ctx, req.GetJob(), req.GetMinRevision())
	if err != nil {
		return nil, err
	}
	resp := &pb.GetNextTurnResponse{Left: sheet.GetLeft()}
	found := req.GetJoint() == ""
	for _, j := range sheet.GetJoints() {
		if req.GetJoint() != "" && req.GetJoint() != j.GetDue().GetJoint() {
			continue
		}
		found = true
		if next := j.GetNext(); next != nil {
			if resp.Next, err = withSetting(next, req.GetAdapter()); err != nil {
				return nil, err
			}
			break
		}
	}
	if !found {
		return nil, noJoint(req.GetJob(), req.GetJoint())
	}
	return resp, nil
}

// WatchSheet gives the sheet as it stands and goes on with every change.
func (s *Server) WatchSheet(req *pb.WatchSheetRequest, stream grpc.ServerStreamingServer[pb.WatchSheetResponse]) error {
	ctx := stream.Context()
	who, err := command.Caller(ctx)
	if err != nil {
		return err
	}
	if _, err := s.read(ctx, req.GetJob(), 0); err != nil {
		return err
	}
	key := readmodel.Key{Model: modelSheet, ID: req.GetJob()}
	return s.views.Watch(ctx, readmodel.WatchQuery{
		Site: who.Site, Model: modelSheet, Present: true, Filter: func(k readmodel.Key) bool { return k == key },
	}, func(c readmodel.Change) error {
		sheet, ok := c.Row.(*pb.Sheet)
		if !ok {
			return noSheet(req.GetJob())
		}
		return stream.Send(&pb.WatchSheetResponse{Sheet: sheet, Revision: c.Revision})
	})
}

// rowsOf gives a page's rows as what they are.
func rowsOf[M proto.Message](page readmodel.Page) []M {
	rows := make([]M, 0, len(page.Rows))
	for _, r := range page.Rows {
		if m, ok := r.(M); ok {
			rows = append(rows, m)
		}
	}
	return rows
}
