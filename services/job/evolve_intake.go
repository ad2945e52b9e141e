package job

import (
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/shelf"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

func openedJob(m *jobv1.JobOpened, h happening) *Job {
	return &Job{
		Name:       m.GetJob(),
		Number:     shelf.Number(m.GetJob()),
		Vehicle:    m.GetVehicle(),
		Customer:   m.GetCustomer(),
		Complaint:  m.GetComplaint(),
		ExpectedAt: clock(m.GetExpectedAt()),
		WantedBy:   clock(m.GetWantedBy()),
		Priority:   m.GetPriority(),
		Version:    m.GetCatalogueVersion(),
		Received:   m.GetExpectedAt() == nil,
		Progress:   map[string]Progress{},
		OpenedAt:   h.at,
		UpdatedAt:  h.at,
	}
}

// applyIntake is what is learnt of the car and its fault before it is opened.
func (j *Job) applyIntake(m proto.Message, h happening) bool {
	switch m := m.(type) {
	case *jobv1.VehicleReceived:
		j.Received = true
		if m.GetOdometerKm() > 0 {
			j.Vehicle = proto.CloneOf(j.Vehicle)
			j.Vehicle.OdometerKm = m.GetOdometerKm()
		}
	case *jobv1.AppointmentChanged:
		j.ExpectedAt, j.WantedBy, j.Priority = clock(m.GetExpectedAt()), clock(m.GetWantedBy()), m.GetPriority()
	case *jobv1.CodesRead:
		j.Reports = append(j.Reports, m.GetReport())
	case *jobv1.SymptomNoted:
		j.dropSymptom(m.GetNote().GetSymptom())
		j.Symptoms = append(j.Symptoms, m.GetNote())
	case *jobv1.TestRecorded:
		j.dropTest(m.GetRecord().GetTest())
		j.Tests = append(j.Tests, m.GetRecord())
	case *jobv1.EvidenceWithdrawn:
		j.dropSymptom(m.GetSymptom())
		j.dropTest(m.GetTest())
	case *jobv1.WorkAuthorised:
		j.Authorised = append(j.Authorised, m.GetAuthorisation())
	case *jobv1.AuthorityAsked:
		j.Asked = &jobv1.AuthorityAsk{Estimate: m.GetEstimate(), Authorised: m.GetAuthorised(), Reason: m.GetReason(), At: timestamppb.New(h.at)}
	default:
		return false
	}
	return true
}

func (j *Job) dropSymptom(id string) {
	j.Symptoms = slices.DeleteFunc(j.Symptoms, func(n *jobv1.SymptomNote) bool { return n.GetSymptom() == id })
}

func (j *Job) dropTest(id string) {
	j.Tests = slices.DeleteFunc(j.Tests, func(r *jobv1.TestRecord) bool { return r.GetTest() == id })
}
