package scheduling

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/readmodel"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// WatchBoard implements the service. First comes what is there, ended by
// caught_up; then every change, also that a booking has ended.
func (s *Server) WatchBoard(_ *schedulingv1.WatchBoardRequest, stream grpc.ServerStreamingServer[schedulingv1.WatchBoardResponse]) error {
	ctx := stream.Context()
	who, err := command.Caller(ctx)
	if err != nil {
		return err
	}
	w := &watching{stream: stream, sent: map[string]proto.Message{}}
	if err := w.present(ctx, s, who.Site); err != nil {
		return err
	}
	// The watch begins with all rows once more: what changed since the list was
	// read is among them, and what did not is not sent twice.
	return s.views.Watch(ctx, readmodel.WatchQuery{Site: who.Site, Present: true}, w.change)
}

// watching is one caller of WatchBoard.
type watching struct {
	stream grpc.ServerStreamingServer[schedulingv1.WatchBoardResponse]
	// sent holds what the caller has of resources and bookings that are not over.
	sent map[string]proto.Message
}

func (w *watching) present(ctx context.Context, s *Server, site string) error {
	r := &reader{server: s, site: site}
	resources := read[*schedulingv1.Resource](ctx, r, modelResource, indexAll, "")
	bookings := read[*schedulingv1.Booking](ctx, r, modelBooking, indexOpen, "")
	if r.err != nil {
		return r.err
	}
	for _, m := range resources {
		if err := w.send(m.GetName(), m, r.revision); err != nil {
			return err
		}
	}
	for _, m := range bookings {
		if err := w.send(m.GetName(), m, r.revision); err != nil {
			return err
		}
	}
	return w.stream.Send(&schedulingv1.WatchBoardResponse{Revision: r.revision, CaughtUp: true})
}

func (w *watching) change(c readmodel.Change) error {
	if c.Row == nil || c.Key.Model == modelSite {
		return nil // bookings and resources are never removed
	}
	return w.send(c.Key.ID, c.Row, c.Revision)
}

// send gives a row that the caller does not have yet. Of an ended booking he only
// hears if he had it before.
func (w *watching) send(id string, row proto.Message, revision uint64) error {
	had, known := w.sent[id]
	if known && proto.Equal(had, row) {
		return nil
	}
	resp := &schedulingv1.WatchBoardResponse{Revision: revision}
	switch m := row.(type) {
	case *schedulingv1.Resource:
		resp.Resource = m
	case *schedulingv1.Booking:
		if resp.Booking = m; ended(m) {
			if !known {
				return nil
			}
			delete(w.sent, id)
			return w.stream.Send(resp)
		}
	}
	w.sent[id] = row
	return w.stream.Send(resp)
}

func ended(b *schedulingv1.Booking) bool {
	return b.GetState() == schedulingv1.BookingState_BOOKING_STATE_FINISHED ||
		b.GetState() == schedulingv1.BookingState_BOOKING_STATE_CANCELLED
}
