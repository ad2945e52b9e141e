package e2e_test

import (
	"errors"
	"maps"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/dynamicpb"
	"google.golang.org/protobuf/types/known/emptypb"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	logv1 "ramprow/proto/ramprow/log/v1"
	"ramprow/services/terminal"
)

var allRoles = []identity.Role{identity.Dispatcher, identity.PartsClerk, identity.Technician, identity.Owner}

// Every method is called with every kind of bad input; each time the answer is a
// clear status that names the field, and nothing is written.
func TestBadInputAtEveryMethod(t *testing.T) {
	w, _ := openTold(t, end)
	settled := w.settled(t, site)
	conns := map[string]*grpc.ClientConn{}
	for _, role := range append(terminal.RoleNames(), terminal.RoleTraces) {
		conns[role] = w.conn(t, role)
	}
	for _, m := range methods(t) {
		t.Run(string(m.desc.Parent().Name())+"/"+string(m.desc.Name()), func(t *testing.T) {
			m.refusesEmpty(t, w, conns)
			m.refusesLongStrings(t, w, conns)
			m.refusesNegatives(t, w, conns)
			m.refusesInvalidUTF8(t, w, conns)
			m.refusesUnknownNames(t, w, conns)
			m.refusesOtherSites(t, w, conns)
		})
	}
	if after := w.lasts(t, site); !maps.Equal(settled, after) {
		t.Errorf("bad input was written: the logs stood at %v and stand at %v", settled, after)
	}
}

// settled waits until the services have heard each other out.
func (w *workshop) settled(t *testing.T, site string) map[string]uint64 {
	t.Helper()
	clients := w.clients(t)
	ctx := w.as(t, site, "ines", identity.Owner)
	before := w.lasts(t, site)
	for quiet := 0; quiet < 3; {
		for _, log := range clients.Logs {
			// A round trip through each writer, behind whatever it has queued.
			if _, err := log.DescribeLog(ctx, &logv1.DescribeLogRequest{}); err != nil {
				t.Fatal(err)
			}
		}
		now := w.lasts(t, site)
		if quiet++; !maps.Equal(before, now) {
			before, quiet = now, 0
		}
	}
	return before
}

// invalid checks for INVALID_ARGUMENT that names one of the fields.
func invalid(t *testing.T, err error, what string, fields ...string) {
	t.Helper()
	f, ok := errors.AsType[*fault.Error](err)
	if !ok || f.Kind != fault.Invalid || f.Reason == "" {
		t.Errorf("%s: got %v, want an invalid argument with a reason", what, err)
		return
	}
	for _, v := range f.Fields {
		if v.Description == "" {
			t.Errorf("%s: field %q is named without a word why", what, v.Path)
		}
		for _, field := range fields {
			if v.Path == field || strings.HasPrefix(v.Path, field+".") || strings.HasPrefix(v.Path, field+"[") {
				return
			}
		}
	}
	t.Errorf("%s: none of the fields %v is named in %v", what, fields, f.Fields)
}

// refusesEmpty: a command lacks at least its request_id; a query that needs
// nothing answers.
func (m method) refusesEmpty(t *testing.T, w *workshop, conns map[string]*grpc.ClientConn) {
	t.Helper()
	err := m.call(t, w, conns, site, dynamicpb.NewMessage(m.desc.Input()))
	if m.command() {
		invalid(t, err, "empty message", "request_id")
		return
	}
	if err != nil && fault.KindOf(err) != fault.Invalid {
		t.Errorf("empty query: %v", err)
	}
}

func (m method) refusesLongStrings(t *testing.T, w *workshop, conns map[string]*grpc.ClientConn) {
	t.Helper()
	long := protoreflect.ValueOfString(strings.Repeat("x", 20_000))
	m.eachField(func(f protoreflect.FieldDescriptor) {
		if f.Kind() != protoreflect.StringKind || f.IsMap() {
			return
		}
		in := dynamicpb.NewMessage(m.desc.Input())
		if f.IsList() {
			list := in.NewField(f).List()
			list.Append(long)
			in.Set(f, protoreflect.ValueOfList(list))
		} else {
			in.Set(f, long)
		}
		invalid(t, m.call(t, w, conns, site, in), "20,000 characters in "+string(f.Name()), string(f.Name()))
	})
}

func (m method) refusesNegatives(t *testing.T, w *workshop, conns map[string]*grpc.ClientConn) {
	t.Helper()
	m.eachField(func(f protoreflect.FieldDescriptor) {
		in := dynamicpb.NewMessage(m.desc.Input())
		switch {
		case f.IsList():
			return
		case f.Kind() == protoreflect.Int64Kind:
			in.Set(f, protoreflect.ValueOfInt64(-5))
		case f.Kind() == protoreflect.Int32Kind:
			in.Set(f, protoreflect.ValueOfInt32(-5))
		case f.Kind() == protoreflect.DoubleKind:
			in.Set(f, protoreflect.ValueOfFloat64(-5))
		default:
			return
		}
		invalid(t, m.call(t, w, conns, site, in), "-5 in "+string(f.Name()), string(f.Name()))
	})
}

// refusesInvalidUTF8 sends bytes that no string may hold.
func (m method) refusesInvalidUTF8(t *testing.T, w *workshop, conns map[string]*grpc.ClientConn) {
	t.Helper()
	m.eachField(func(f protoreflect.FieldDescriptor) {
		if f.Kind() != protoreflect.StringKind || f.IsMap() {
			return
		}
		raw := protowire.AppendTag(nil, f.Number(), protowire.BytesType)
		raw = protowire.AppendBytes(raw, []byte{'a', 0xff, 0xfe})
		// As unknown fields of an empty message the bytes pass the client's own check.
		bare := &emptypb.Empty{}
		bare.ProtoReflect().SetUnknown(raw)
		invalid(t, m.call(t, w, conns, site, bare), "invalid UTF-8 in "+string(f.Name()), string(f.Name()))
	})
}

// makers make what they name, so an unknown name is no mistake of theirs.
var makers = []string{
	"SetPart", "SetSupplier", "SetResource", "SetWrench", "PlaceOrder", "BlockResource", "SetClosedDays", "MoveBooking", "UnblockResource", "DescribeLog", "ListParked",
	"DescribeStore", "FindTraces", "GetBoard", "GetCapacity", "GetMorning", "GetSeller", "GetZone", "JudgePlan", "ListCatalogues", "ProposeOrders",
}

func (m method) refusesUnknownNames(t *testing.T, w *workshop, conns map[string]*grpc.ClientConn) {
	t.Helper()
	name := string(m.desc.Name())
	if slices.Contains(makers, name) || strings.HasPrefix(name, "List") || strings.HasPrefix(name, "WatchJobs") || strings.HasPrefix(name, "WatchParts") || strings.HasPrefix(name, "WatchBoard") {
		return
	}
	in := plausible(t, m.desc.Input())
	clearRevision(in)
	err := m.call(t, w, conns, site, in)
	f, ok := errors.AsType[*fault.Error](err)
	if !ok || f.Reason == "" || (f.Kind != fault.NotFound && f.Kind != fault.Invalid && f.Kind != fault.Precondition) {
		t.Errorf("unknown names: got %v (%v)", err, in)
	}
}

// clearRevision keeps a query from waiting for a revision that never comes.
func clearRevision(in *dynamicpb.Message) {
	if f := in.Descriptor().Fields().ByName("min_revision"); f != nil {
		in.Clear(f)
	}
}

// refusesOtherSites: what exists here is not there for somebody of another site.
func (m method) refusesOtherSites(t *testing.T, w *workshop, conns map[string]*grpc.ClientConn) {
	t.Helper()
	f := m.desc.Input().Fields().ByName("job")
	if f == nil {
		return
	}
	in := plausible(t, m.desc.Input())
	clearRevision(in)
	in.Set(f, protoreflect.ValueOfString("jobs/1"))
	err := m.call(t, w, conns, "elsewhere", proto.Message(in))
	if fault.KindOf(err) != fault.NotFound || err == nil {
		t.Errorf("another site's jobs/1: got %v, want NOT_FOUND", err)
	}
}

func (m method) eachField(do func(protoreflect.FieldDescriptor)) {
	fields := m.desc.Input().Fields()
	for i := range fields.Len() {
		do(fields.Get(i))
	}
}
