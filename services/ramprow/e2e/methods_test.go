package e2e_test

import (
	"fmt"
	"strings"
	"testing"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"

	"ramprow/services/terminal"
)

// method is one RPC of one role.
type method struct {
	role string
	desc protoreflect.MethodDescriptor
}

func (m method) path() string {
	return fmt.Sprintf("/%s/%s", m.desc.Parent().FullName(), m.desc.Name())
}

// command reports whether it changes something.
func (m method) command() bool { return m.desc.Input().Fields().ByName("request_id") != nil }

// methods lists every unary RPC of every role, and the streams' first answer is
// asked for in the same way.
func methods(t *testing.T) []method {
	t.Helper()
	services := map[string]string{
		"ramprow.job.v1.JobService":                  terminal.RoleJob,
		"ramprow.job.v1.LearningService":             terminal.RoleJob,
		"ramprow.job.v1.FiguresService":              terminal.RoleJob,
		"ramprow.job.v1.BillingService":              terminal.RoleJob,
		"ramprow.inventory.v1.BuyingService":         terminal.RoleInventory,
		"ramprow.job.v1.PersonalDataService":         terminal.RoleJob,
		"ramprow.inventory.v1.InventoryService":      terminal.RoleInventory,
		"ramprow.scheduling.v1.SchedulingService":    terminal.RoleScheduling,
		"ramprow.torque_audit.v1.TorqueAuditService": terminal.RoleAudit,
		"ramprow.log.v1.LogService":                  terminal.RoleJob,
		"ramprow.traces.v1.TraceService":             terminal.RoleTraces,
	}
	var all []method
	for service, role := range services {
		found, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(service))
		if err != nil {
			t.Fatal(err)
		}
		list := found.(protoreflect.ServiceDescriptor).Methods()
		for i := range list.Len() {
			all = append(all, method{role: role, desc: list.Get(i)})
		}
	}
	if len(all) < 75 {
		t.Fatalf("only %d methods found; the walk misses some", len(all))
	}
	return all
}

// call invokes a method with a message and gives the error of its first answer.
func (m method) call(t *testing.T, w *workshop, conns map[string]*grpc.ClientConn, caller string, in proto.Message) error {
	t.Helper()
	ctx := w.as(t, caller, "mallory", allRoles...)
	out := dynamicpb.NewMessage(m.desc.Output())
	if !m.desc.IsStreamingServer() {
		return conns[m.role].Invoke(ctx, m.path(), in, out)
	}
	stream, err := conns[m.role].NewStream(ctx, &grpc.StreamDesc{ServerStreams: true}, m.path())
	if err != nil {
		return err
	}
	if err := stream.SendMsg(in); err != nil {
		return err
	}
	if err := stream.CloseSend(); err != nil {
		return err
	}
	return stream.RecvMsg(out)
}

// candidates are values that pass the rules of one field or another and name
// nothing that exists.
var candidates = []string{
	"no-such-request-0001", "jobs/999999", "orders/999999", "returns/999999", "bays/no-such", "wrenches/no-such", "lookbacks/999999", "closed-days/no-such", "XX-0000", "P0999", "no-such",
	"EUR", "XX", "2026-999999", "YMR0RN16ZHA099999", "M8x1.25", "8.8", "2026-03-09", "nothing",
	"0123456789abcdef0123456789abcdef",
}

// plausible fills a request so that every rule is met and every name is unknown.
func plausible(t *testing.T, desc protoreflect.MessageDescriptor) *dynamicpb.Message {
	t.Helper()
	m := dynamicpb.NewMessage(desc)
	fill(m, 0)
	if err := protovalidate.Validate(m); err != nil {
		t.Fatalf("the filled %s breaks a rule: %v", desc.FullName(), err)
	}
	return m
}

// fill sets each field to the first value that its rules allow. Nested messages
// are filled too where the rules ask for them.
func fill(m protoreflect.Message, depth int) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		if allowed(m, f) && f.Kind() != protoreflect.StringKind && f.Kind() != protoreflect.MessageKind {
			continue
		}
		for _, v := range values(m, f, depth) {
			m.Set(f, v)
			if allowed(m, f) {
				break
			}
			m.Clear(f)
		}
	}
}

// allowed reports whether the rules have nothing against a field as it stands.
func allowed(m protoreflect.Message, f protoreflect.FieldDescriptor) bool {
	err := protovalidate.Validate(m.Interface())
	return err == nil || !strings.Contains(violatedFields(err), " "+string(f.Name())+" ")
}

// violatedFields gives the first path element of each violation, between blanks.
func violatedFields(err error) string {
	invalid, ok := err.(*protovalidate.ValidationError) //nolint:errorlint // this type exactly
	if !ok {
		return ""
	}
	var b strings.Builder
	for _, v := range invalid.Violations {
		name, _, _ := strings.Cut(protovalidate.FieldPathString(v.Proto.GetField()), ".")
		name, _, _ = strings.Cut(name, "[")
		b.WriteString(" " + name + " ")
	}
	return b.String()
}

const deep = 4

func values(m protoreflect.Message, f protoreflect.FieldDescriptor, depth int) []protoreflect.Value {
	if f.IsMap() || depth > deep {
		return nil
	}
	if f.IsList() {
		list := m.NewField(f).List()
		if f.Kind() == protoreflect.MessageKind {
			element := list.NewElement()
			fill(element.Message(), depth+1)
			list.Append(element)
			return []protoreflect.Value{protoreflect.ValueOfList(list)}
		}
		var lists []protoreflect.Value
		for _, v := range scalars(f) {
			one := m.NewField(f).List()
			one.Append(v)
			lists = append(lists, protoreflect.ValueOfList(one))
		}
		return lists
	}
	if f.Kind() == protoreflect.MessageKind {
		nested := m.NewField(f)
		fill(nested.Message(), depth+1)
		if f.Message().FullName() == "google.protobuf.Duration" { // one second: most that are asked for must not be empty
			nested.Message().Set(f.Message().Fields().ByName("seconds"), protoreflect.ValueOfInt64(1))
		}
		return []protoreflect.Value{nested}
	}
	return scalars(f)
}

// scalars offers values of a kind.
func scalars(f protoreflect.FieldDescriptor) []protoreflect.Value {
	switch f.Kind() {
	case protoreflect.StringKind:
		var list []protoreflect.Value
		for _, c := range candidates {
			list = append(list, protoreflect.ValueOfString(c))
		}
		return list
	case protoreflect.EnumKind:
		var list []protoreflect.Value
		values := f.Enum().Values()
		for i := 1; i < values.Len(); i++ {
			list = append(list, protoreflect.ValueOfEnum(values.Get(i).Number()))
		}
		return list
	case protoreflect.Int32Kind:
		return []protoreflect.Value{protoreflect.ValueOfInt32(1)}
	case protoreflect.Int64Kind:
		return []protoreflect.Value{protoreflect.ValueOfInt64(1)}
	case protoreflect.Uint32Kind:
		return []protoreflect.Value{protoreflect.ValueOfUint32(1)}
	case protoreflect.Uint64Kind:
		return []protoreflect.Value{protoreflect.ValueOfUint64(1)}
	case protoreflect.DoubleKind:
		return []protoreflect.Value{protoreflect.ValueOfFloat64(1)}
	case protoreflect.BoolKind:
		return []protoreflect.Value{protoreflect.ValueOfBool(true)}
	default:
		return nil
	}
}
