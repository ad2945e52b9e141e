package telemetry

import (
	"regexp"
	"slices"

	"go.opentelemetry.io/otel/attribute"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// Attributes by which a trace is found. Whoever stores traces reads them.
const (
	// AttributeSite is the workshop that a span belongs to; nobody else may see it.
	AttributeSite = "ramprow.site"
	// AttributePerson is who caused it (OpenTelemetry's user.id).
	AttributePerson = "user.id"
	// AttributeService is the role that did it, whatever the process is called.
	AttributeService = "ramprow.service"
	// AttributeAbout lists what it is about, by name, as in jobs/17.
	AttributeAbout = "ramprow.about"
	// AttributeParked is the id of an event that was set aside.
	AttributeParked = "ramprow.parked"
	// AttributeEvents lists the kinds of events that a decision brought about.
	AttributeEvents = "ramprow.events"
)

// maxAbout bounds the names that one span is about.
const maxAbout = 8

var resourceForm = regexp.MustCompile(`^[a-z_]{1,40}/[A-Za-z0-9._-]{1,80}$`)

// IsName tells whether a text is the name of one thing, as in jobs/17 or bays/2.
func IsName(text string) bool { return resourceForm.MatchString(text) }

// About finds the names of things in messages: fields that hold one, and the name
// of a message in a field. Ask only for a span that is recorded.
func About(messages ...proto.Message) attribute.KeyValue {
	var names []string
	add := func(text string) {
		if len(names) < maxAbout && !slices.Contains(names, text) && IsName(text) {
			names = append(names, text)
		}
	}
	for _, m := range messages {
		if m == nil {
			continue
		}
		m.ProtoReflect().Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
			switch {
			case f.IsList() || f.IsMap():
			case f.Kind() == protoreflect.StringKind:
				add(v.String())
			case f.Kind() == protoreflect.MessageKind:
				if name := f.Message().Fields().ByName("name"); name != nil && name.Kind() == protoreflect.StringKind && !name.IsList() {
					add(v.Message().Get(name).String())
				}
			}
			return len(names) < maxAbout
		})
	}
	return attribute.StringSlice(AttributeAbout, names)
}
