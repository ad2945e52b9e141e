package catalogue

import (
	"fmt"

	"google.golang.org/protobuf/reflect/protoreflect"

	pb "ramprow/proto/ramprow/catalogue/v1"
)

// kind is a kind of thing that has an id and is referred to by it.
type kind string

const (
	kindPiece   kind = "piece"
	kindState   kind = "state"
	kindTool    kind = "tool"
	kindSkill   kind = "skill"
	kindHazard  kind = "hazard"
	kindJoint   kind = "joint"
	kindPart    kind = "part"
	kindBayKind kind = "bay kind"
	kindSymptom kind = "symptom"
	kindCode    kind = "fault code"
	kindCause   kind = "cause"
	kindFeature kind = "feature"
)

// reference is one place in the file that names something by its id.
type reference struct {
	kind kind
	id   string
	path string
	// list is the path of the list that holds it, and empty outside lists.
	list string
}

// referenceFields says which text fields hold ids, and of what. A field that is
// missing here is plain text; a test lists those.
func referenceFields() map[protoreflect.FullName]kind {
	const p = "ramprow.catalogue.v1."
	return map[protoreflect.FullName]kind{
		p + "Feature.seen_once_off":    kindPiece,
		p + "State.tools":              kindTool,
		p + "State.tools_left_on":      kindTool,
		p + "State.hazards":            kindHazard,
		p + "State.skills":             kindSkill,
		p + "State.needs_states":       kindState,
		p + "State.needs_off":          kindPiece,
		p + "Blocking.any_of":          kindPiece,
		p + "Condition.feature":        kindFeature,
		p + "PartUse.part":             kindPart,
		p + "Operation.takes_off":      kindPiece,
		p + "Operation.reaches":        kindPiece,
		p + "Operation.needs_off":      kindPiece,
		p + "Operation.needs_reached":  kindPiece,
		p + "Operation.needs_states":   kindState,
		p + "Operation.forbids_states": kindState,
		p + "Operation.skills":         kindSkill,
		p + "Operation.tools":          kindTool,
		p + "Operation.hazards":        kindHazard,
		p + "Operation.joints":         kindJoint,
		p + "Operation.bay_kinds":      kindBayKind,
		p + "Joint.pieces":             kindPiece,
		p + "Joint.hazards":            kindHazard,
		p + "Stage.tools":              kindTool,
		p + "Stage.barred_tools":       kindTool,
		p + "Part.supersedes":          kindPart,
		p + "Repair.targets":           kindPiece,
		p + "Repair.skills":            kindSkill,
		p + "Repair.tools":             kindTool,
		p + "Repair.hazards":           kindHazard,
		p + "Repair.needs_states":      kindState,
		p + "Test.needs_open":          kindPiece,
		p + "Test.tools":               kindTool,
		p + "Test.hazards":             kindHazard,
		// What an effect is of depends on the list that it stands in.
		p + "Cause.codes":    kindCode,
		p + "Cause.symptoms": kindSymptom,
		p + "Test.positive":  kindCause,
	}
}

// placedCondition is a condition with its path in the file.
type placedCondition struct {
	*pb.Condition
	path string
}

// collector lists every reference and every condition in the file's order.
type collector struct {
	fields     map[protoreflect.FullName]kind
	references []reference
	conditions []placedCondition
}

func collect(m *pb.Catalogue) *collector {
	c := &collector{fields: referenceFields()}
	c.message(m.ProtoReflect(), "")
	return c
}

func (c *collector) message(m protoreflect.Message, path string) {
	if condition, ok := m.Interface().(*pb.Condition); ok {
		c.conditions = append(c.conditions, placedCondition{condition, path})
	}
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		field := fields.Get(i)
		if !m.Has(field) {
			continue
		}
		here := join(path, string(field.Name()))
		if !field.IsList() {
			c.value(m.Get(field), field, reference{path: here})
			continue
		}
		list := m.Get(field).List()
		for j := range list.Len() {
			c.value(list.Get(j), field, reference{path: fmt.Sprintf("%s[%d]", here, j), list: here})
		}
	}
}

// value takes one value: an id is noted, an effect gives the id inside it, and
// any other message is searched.
func (c *collector) value(v protoreflect.Value, field protoreflect.FieldDescriptor, ref reference) {
	kind, refers := c.fields[field.FullName()]
	switch {
	case refers && field.Message() != nil:
		effect, ok := v.Message().Interface().(*pb.Effect)
		if !ok {
			return
		}
		c.references = append(c.references, reference{kind: kind, id: effect.GetOf(), path: ref.path + ".of", list: ref.list})
	case refers:
		ref.kind, ref.id = kind, v.String()
		c.references = append(c.references, ref)
	case field.Message() != nil:
		c.message(v.Message(), ref.path)
	}
}

// knows reports whether there is a thing of a kind with an id.
func (c *Catalogue) knows(k kind, id string) bool {
	known := map[kind]bool{
		kindPiece: c.pieces[id] != nil, kindState: c.states[id] != nil, kindTool: c.tools[id] != nil,
		kindSkill: c.skills[id] != nil, kindHazard: c.hazards[id] != nil, kindJoint: c.joints[id] != nil,
		kindPart: c.parts[id] != nil, kindBayKind: c.bayKinds[id] != nil, kindSymptom: c.symptoms[id] != nil,
		kindCode: c.codes[id] != nil, kindCause: c.causes[id] != nil, kindFeature: c.features[id] != nil,
	}
	return known[k]
}
