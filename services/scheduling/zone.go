package scheduling

import (
	"context"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// setZone has shifts read on another wall clock, and plans anew.
func (st *State) setZone(req *schedulingv1.SetZoneRequest, in sitelog.Input) ([]proto.Message, *schedulingv1.SetZoneResponse, error) {
	zone, err := time.LoadLocation(req.GetZone())
	if err != nil || zone == time.Local { //nolint:gosmopolitan // it is another zone on every machine
		return nil, nil, fault.New(fault.Invalid, "ZONE_UNKNOWN", "there is no time zone %s; use a name of the IANA database, as in Europe/Vienna", req.GetZone()).
			WithField("zone", "must be a name of the IANA time zone database").Because(err)
	}
	resp := &schedulingv1.SetZoneResponse{Zone: zone.String()}
	if zone.String() == st.zone.String() {
		return nil, resp, nil
	}
	d := newDraft(st, in)
	d.add(&schedulingv1.ZoneSet{Zone: zone.String()})
	out, err := d.replan(order{cause: "shifts are read in " + zone.String()})
	resp.Changes = out.changes
	return d.unless(req.GetValidateOnly()), resp, err
}

// SetZone implements the service.
func (s *Server) SetZone(ctx context.Context, req *schedulingv1.SetZoneRequest) (*schedulingv1.SetZoneResponse, error) {
	return carryOut(ctx, s, req, (*State).setZone, func(r *schedulingv1.SetZoneResponse, receipt *commonv1.Receipt) { r.Receipt = receipt })
}

// GetZone implements the service.
func (s *Server) GetZone(ctx context.Context, _ *schedulingv1.GetZoneRequest) (*schedulingv1.GetZoneResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	resp := &schedulingv1.GetZoneResponse{}
	_, err = s.runner.View(ctx, who.Site, func(st *State) error { resp.Zone = st.zone.String(); return nil })
	return resp, err
}
