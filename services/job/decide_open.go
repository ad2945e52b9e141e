package job

import (
	"errors"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/catalogue"
	"ramprow/internal/engine/vehicle"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// importCatalogue checks an edition whole. The same content again is no news;
// an older edition than the newest is refused, since jobs would silently go back.
func importCatalogue(s *State, in sitelog.Input, req *jobv1.ImportCatalogueRequest) ([]proto.Message, *jobv1.ImportCatalogueResponse, error) {
	c, err := catalogue.FromMessage(req.GetCatalogue())
	if err != nil {
		return nil, nil, catalogueFault(err)
	}
	response := &jobv1.ImportCatalogueResponse{Version: c.Version()}
	for _, w := range c.Warnings() {
		response.Warnings = append(response.Warnings, w.String())
	}
	if _, known := s.editions[c.Version()]; known || req.GetValidateOnly() {
		return nil, response, nil
	}
	if newest, ok := s.editions[s.newest[c.Message().GetId()]]; ok && newest.Message().GetEdition() >= c.Message().GetEdition() {
		return nil, nil, fault.New(fault.Precondition, "EDITION_NOT_NEWER",
			"this site has edition %d of %s already; give the changed catalogue a higher edition",
			newest.Message().GetEdition(), c.Message().GetId()).With("catalogue", c.Message().GetId())
	}
	return []proto.Message{&jobv1.CatalogueImported{
		Catalogue: req.GetCatalogue(), Version: c.Version(), ImportedBy: in.Actor.Person,
	}}, response, nil
}

// catalogueFault lists every mistake as a field of the request.
func catalogueFault(err error) error {
	problems, ok := errors.AsType[*catalogue.Problems](err)
	if !ok {
		return err
	}
	f := fault.New(fault.Invalid, "CATALOGUE_INVALID",
		"the catalogue has %d mistakes and was not imported; 'ramprow catalogue check FILE' shows them with their lines", len(problems.List))
	for _, p := range problems.List {
		f.WithField("catalogue."+p.Field, "%s (%s)", p.Message, p.Rule)
	}
	return f
}

// open takes in a car. The catalogue edition is pinned here: a later one does
// not change what was planned.
func open(s *State, in sitelog.Input, req *jobv1.OpenJobRequest) ([]proto.Message, error) {
	c, err := s.edition(req.GetVehicle().GetCatalogue())
	if err != nil {
		return nil, err
	}
	car := proto.CloneOf(req.GetVehicle())
	vin, err := vehicle.ParseVIN(car.GetVin())
	if err != nil {
		return nil, fault.New(fault.Invalid, "VIN_INVALID",
			"%v; read it again from the car, not from the papers", err).WithField("vehicle.vin", "%v", err)
	}
	car.Vin = string(vin)
	if _, err := c.Facts(car.GetFeatures(), clock(car.GetBuilt())); err != nil {
		return nil, underVehicle(err)
	}
	if wanted := req.GetWantedBy(); wanted != nil && !wanted.AsTime().After(in.Now) {
		return nil, fault.New(fault.Invalid, "WANTED_BY_PAST", "the car cannot be wanted before now").
			WithField("wanted_by", "lies in the past")
	}
	expected := req.GetExpectedAt()
	if expected != nil && !expected.AsTime().After(in.Now) {
		expected = nil // it is here already
	}
	return []proto.Message{&jobv1.JobOpened{
		Job:              jobName(s.lastJob + 1),
		Vehicle:          car,
		Customer:         req.GetCustomer(),
		Complaint:        strings.TrimSpace(req.GetComplaint()),
		ExpectedAt:       expected,
		WantedBy:         req.GetWantedBy(),
		Priority:         req.GetPriority(),
		CatalogueVersion: c.Version(),
	}}, nil
}

// underVehicle puts the field paths of the catalogue below the request's vehicle.
func underVehicle(err error) error {
	f, ok := errors.AsType[*fault.Error](err)
	if !ok {
		return err
	}
	for i := range f.Fields {
		f.Fields[i].Path = "vehicle." + f.Fields[i].Path
	}
	return f
}

func receive(j *Job, req *jobv1.ReceiveVehicleRequest) ([]proto.Message, error) {
	if j.Received {
		return nil, nil
	}
	if km := req.GetOdometerKm(); km > 0 && km < j.Vehicle.GetOdometerKm() {
		return nil, fault.New(fault.Invalid, "ODOMETER_BACKWARDS",
			"the odometer was at %d km when the job was opened; read it again", j.Vehicle.GetOdometerKm()).
			WithField("odometer_km", "less than before")
	}
	return []proto.Message{&jobv1.VehicleReceived{Job: j.Name, OdometerKm: req.GetOdometerKm()}}, nil
}

func authorise(j *Job, in sitelog.Input, req *jobv1.AuthoriseWorkRequest) ([]proto.Message, error) {
	if j.Plan == nil {
		return nil, notDiagnosed(j)
	}
	up := req.GetUpTo()
	if up.GetMinorUnits() <= 0 {
		return nil, fault.New(fault.Invalid, "AMOUNT_NOT_POSITIVE", "an authorisation is for more than nothing").
			WithField("up_to.minor_units", "must be positive")
	}
	if up.GetCurrencyCode() != j.currency() {
		return nil, fault.New(fault.Invalid, "CURRENCY_DIFFERS", "the job is priced in %s", j.currency()).
			WithField("up_to.currency_code", "must be %s", j.currency())
	}
	return []proto.Message{&jobv1.WorkAuthorised{Job: j.Name, Authorisation: &jobv1.Authorisation{
		UpTo: up, GivenBy: req.GetGivenBy(), How: req.GetHow(), At: timestamppb.New(in.Now), TakenBy: in.Actor.Person,
	}}}, nil
}

func notDiagnosed(j *Job) error {
	return fault.New(fault.Precondition, "DIAGNOSIS_MISSING",
		"nobody has said yet what is broken; a technician confirms it with 'ramprow job confirm %s CAUSE'", numberOf(j.Name)).
		WithUnmet(fault.Unmet{Type: "DIAGNOSIS_MISSING", Subject: j.Name, Description: "a technician confirms the diagnosis"})
}
