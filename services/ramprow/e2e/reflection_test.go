package e2e_test

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"google.golang.org/grpc"
	reflectionv1 "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/dynamicpb"

	"ramprow/internal/platform/identity"
	"ramprow/services/terminal"
)

// stranger is a client that was built without any of the project's protos: it
// asks the server what there is and speaks JSON.
type stranger struct {
	conn  *grpc.ClientConn
	files *protoregistry.Files
}

// newStranger learns a service and all that it imports by reflection.
func newStranger(ctx context.Context, conn *grpc.ClientConn, service string) (*stranger, error) {
	stream, err := reflectionv1.NewServerReflectionClient(conn).ServerReflectionInfo(ctx)
	if err != nil {
		return nil, err
	}
	known := map[string]*descriptorpb.FileDescriptorProto{}
	ask := func(r *reflectionv1.ServerReflectionRequest) error {
		if err := stream.Send(r); err != nil {
			return err
		}
		answer, err := stream.Recv()
		if err != nil {
			return err
		}
		for _, data := range answer.GetFileDescriptorResponse().GetFileDescriptorProto() {
			file := &descriptorpb.FileDescriptorProto{}
			if err := proto.Unmarshal(data, file); err != nil {
				return err
			}
			known[file.GetName()] = file
		}
		return nil
	}
	err = ask(&reflectionv1.ServerReflectionRequest{
		MessageRequest: &reflectionv1.ServerReflectionRequest_FileContainingSymbol{FileContainingSymbol: service},
	})
	for missing := firstMissing(known); err == nil && missing != ""; missing = firstMissing(known) {
		err = ask(&reflectionv1.ServerReflectionRequest{
			MessageRequest: &reflectionv1.ServerReflectionRequest_FileByFilename{FileByFilename: missing},
		})
	}
	if err != nil {
		return nil, err
	}
	set := &descriptorpb.FileDescriptorSet{}
	for _, f := range known {
		set.File = append(set.File, f)
	}
	files, err := protodesc.NewFiles(set)
	return &stranger{conn: conn, files: files}, err
}

func firstMissing(known map[string]*descriptorpb.FileDescriptorProto) string {
	for _, f := range known {
		for _, dependency := range f.GetDependency() {
			if known[dependency] == nil {
				return dependency
			}
		}
	}
	return ""
}

// call sends JSON and gives JSON, as any tool would.
func (s *stranger) call(ctx context.Context, method, request string) (string, error) {
	service, name, _ := strings.Cut(method, "/")
	found, err := s.files.FindDescriptorByName(protoreflect.FullName(service))
	if err != nil {
		return "", err
	}
	desc := found.(protoreflect.ServiceDescriptor).Methods().ByName(protoreflect.Name(name))
	in, out := dynamicpb.NewMessage(desc.Input()), dynamicpb.NewMessage(desc.Output())
	if err := protojson.Unmarshal([]byte(request), in); err != nil {
		return "", err
	}
	if err := s.conn.Invoke(ctx, "/"+method, in, out); err != nil {
		return "", err
	}
	answer, err := protojson.Marshal(out)
	return string(answer), err
}

// A third party's client, by reflection alone, takes in a car and reads it back.
func TestAStrangerDrivesTheAPIByReflection(t *testing.T) {
	w, _ := openTold(t, end) // there is a catalogue then
	ctx := w.as(t, site, "guest", identity.Dispatcher)
	s, err := newStranger(ctx, w.conn(t, terminal.RoleJob), "ramprow.job.v1.JobService")
	if err != nil {
		t.Fatal(err)
	}
	opened, err := s.call(ctx, "ramprow.job.v1.JobService/OpenJob", `{
		"requestId": "stranger-0001",
		"vehicle": {"vin": "YMR0RN16ZHA000042", "plate": "RP-ST 1", "catalogue": "marlow-orrin"},
		"customer": {"name": "Otto Wend"},
		"complaint": "Hums."
	}`)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"jobs/3"`, `"JOB_STATE_OPENED"`, `"receipt"`} {
		if !strings.Contains(opened, want) {
			t.Errorf("the answer lacks %s: %s", want, opened)
		}
	}
	var answer struct {
		Receipt struct{ Revision string }
	}
	if err := json.Unmarshal([]byte(opened), &answer); err != nil {
		t.Fatal(err)
	}
	read, err := s.call(ctx, "ramprow.job.v1.JobService/GetJob", fmt.Sprintf(`{"job": "jobs/3", "minRevision": %q}`, answer.Receipt.Revision))
	if err != nil || !strings.Contains(read, "Otto Wend") {
		t.Errorf("reading it back: %v, %s", err, read)
	}
	for _, role := range terminal.RoleNames() {
		if _, err := newStranger(ctx, w.conn(t, role), "ramprow.log.v1.LogService"); err != nil {
			t.Errorf("%s does not reflect its log service: %v", role, err)
		}
	}
}
