package catalogue

import (
	"ramprow/internal/engine/teardown/effort"
	pb "ramprow/proto/ramprow/catalogue/v1"
)

// Catalogue is a loaded catalogue with its lookups. It never changes after Load
// and may be used by many at once; nobody may write to what it hands out.
type Catalogue struct {
	message  *pb.Catalogue
	version  string
	warnings []Problem

	features   map[string]*pb.Feature
	states     map[string]*pb.State
	tools      map[string]*pb.Tool
	skills     map[string]*pb.Skill
	hazards    map[string]*pb.Hazard
	pieces     map[string]*pb.Piece
	operations map[string]*pb.Operation
	joints     map[string]*pb.Joint
	parts      map[string]*pb.Part
	symptoms   map[string]*pb.Symptom
	codes      map[string]*pb.FaultCode
	tests      map[string]*pb.Test
	causes     map[string]*pb.Cause
	bayKinds   map[string]*pb.BayKind

	times Times
}

// newCatalogue prepares the lookups. Of several with one id the first counts;
// checking refuses such a file.
func newCatalogue(m *pb.Catalogue, data []byte) *Catalogue {
	return &Catalogue{
		message:    m,
		version:    versionOf(m, data),
		features:   index(m.GetFeatures(), (*pb.Feature).GetId),
		states:     index(m.GetStates(), (*pb.State).GetId),
		tools:      index(m.GetTools(), (*pb.Tool).GetId),
		skills:     index(m.GetSkills(), (*pb.Skill).GetId),
		hazards:    index(m.GetHazards(), (*pb.Hazard).GetId),
		pieces:     index(m.GetPieces(), (*pb.Piece).GetId),
		operations: index(m.GetOperations(), (*pb.Operation).GetId),
		joints:     index(m.GetJoints(), (*pb.Joint).GetId),
		parts:      index(m.GetParts(), (*pb.Part).GetNumber),
		symptoms:   index(m.GetSymptoms(), (*pb.Symptom).GetId),
		codes:      index(m.GetCodes(), (*pb.FaultCode).GetCode),
		tests:      index(m.GetTests(), (*pb.Test).GetId),
		causes:     index(m.GetCauses(), (*pb.Cause).GetId),
		bayKinds:   index(m.GetBayKinds(), (*pb.BayKind).GetId),
	}
}

func index[T any](list []T, id func(T) string) map[string]T {
	byID := make(map[string]T, len(list))
	for _, item := range list {
		if _, taken := byID[id(item)]; !taken {
			byID[id(item)] = item
		}
	}
	return byID
}

// Times gives what a workshop has learned of how long a piece of work takes, from
// the catalogue's own estimate. Work is named as in open.valve-cover-off,
// refit.valve-cover-off, enter.raised, leave.raised and repair.coil-1.
type Times func(work string, written effort.ThreePoint) effort.ThreePoint

// WithTimes is the catalogue with learned times in place of the written ones, in
// all that it makes for the teardown engine. What is written stays as it is.
func (c *Catalogue) WithTimes(times Times) *Catalogue {
	timed := *c
	timed.times = times
	return &timed
}

// AllWork asks the learned times about every piece of work that the catalogue knows.
func (c *Catalogue) AllWork() {
	for _, o := range c.message.GetOperations() {
		c.effort("open", o.GetId(), o.GetEffort())
		c.effort("refit", o.GetId(), o.GetRefit())
	}
	for _, s := range c.message.GetStates() {
		c.effort("enter", s.GetId(), s.GetEnter())
		c.effort("leave", s.GetId(), s.GetLeave())
	}
	for _, cause := range c.message.GetCauses() {
		c.effort("repair", cause.GetId(), cause.GetRepair().GetEffort())
	}
}

// effort of a piece of work, as far as it is known now.
func (c *Catalogue) effort(verb, id string, written *pb.ThreePointMinutes) effort.ThreePoint {
	if c.times == nil {
		return threePoint(written)
	}
	return c.times(verb+"."+id, threePoint(written))
}

// Version names exactly this content, as in marlow-orrin@3+1f0c9a2b77de: the id,
// the edition, and the start of the SHA-256 of the file's bytes.
func (c *Catalogue) Version() string { return c.version }

// Message gives the catalogue as it is written.
func (c *Catalogue) Message() *pb.Catalogue { return c.message }

// Warnings lists what checking found that does not keep the catalogue out.
func (c *Catalogue) Warnings() []Problem { return c.warnings }

// Feature finds a feature by id; nil if there is none. The same holds for the
// other lookups.
func (c *Catalogue) Feature(id string) *pb.Feature { return c.features[id] }

// State finds a state of the car by id.
func (c *Catalogue) State(id string) *pb.State { return c.states[id] }

// Tool finds a tool by id.
func (c *Catalogue) Tool(id string) *pb.Tool { return c.tools[id] }

// Skill finds a skill by id.
func (c *Catalogue) Skill(id string) *pb.Skill { return c.skills[id] }

// Hazard finds a hazard by id.
func (c *Catalogue) Hazard(id string) *pb.Hazard { return c.hazards[id] }

// Piece finds a piece by id.
func (c *Catalogue) Piece(id string) *pb.Piece { return c.pieces[id] }

// Operation finds an operation by id.
func (c *Catalogue) Operation(id string) *pb.Operation { return c.operations[id] }

// Joint finds a joint by id.
func (c *Catalogue) Joint(id string) *pb.Joint { return c.joints[id] }

// Part finds a part by its number.
func (c *Catalogue) Part(number string) *pb.Part { return c.parts[number] }

// Symptom finds a symptom by id.
func (c *Catalogue) Symptom(id string) *pb.Symptom { return c.symptoms[id] }

// Code finds a fault code by its text, as in P0304 or 0x2A10.
func (c *Catalogue) Code(code string) *pb.FaultCode { return c.codes[code] }

// Test finds a test by id.
func (c *Catalogue) Test(id string) *pb.Test { return c.tests[id] }

// Cause finds a cause by id.
func (c *Catalogue) Cause(id string) *pb.Cause { return c.causes[id] }

// BayKind finds a kind of bay by id.
func (c *Catalogue) BayKind(id string) *pb.BayKind { return c.bayKinds[id] }
