package rpc_test

import (
	"context"
	"sync"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"

	commonv1 "ramprow/proto/ramprow/common/v1"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// The probe services exist in these tests alone: what no real service has is
// declared here, as a .proto file would.
const (
	probeService    = "ramprow.rpcprobe.v1.ProbeService"
	rulelessService = "ramprow.rpcprobe.v1.RulelessService"
	rolelessService = "ramprow.rpcprobe.v1.RolelessService"
	// A message of the log's schema with a bounded field serves as the request.
	probeInput  = ".ramprow.log.v1.ListParkedRequest"
	probeOutput = ".ramprow.log.v1.ListParkedResponse"
)

//nolint:gochecknoglobals // descriptors are registered once per process
var registerProbes = sync.OnceValue(func() error {
	method := func(name string, stream bool, access *commonv1.Access) *descriptorpb.MethodDescriptorProto {
		m := &descriptorpb.MethodDescriptorProto{
			Name: proto.String(name), InputType: proto.String(probeInput), OutputType: proto.String(probeOutput),
			ServerStreaming: proto.Bool(stream), ClientStreaming: proto.Bool(stream),
		}
		if access != nil {
			m.Options = &descriptorpb.MethodOptions{}
			proto.SetExtension(m.GetOptions(), commonv1.E_Access, access)
		}
		return m
	}
	technicians := &commonv1.Access{Roles: []commonv1.Role{commonv1.Role_ROLE_TECHNICIAN}}
	file, err := protodesc.NewFile(&descriptorpb.FileDescriptorProto{
		Name: proto.String("ramprow/rpcprobe/v1/probe.proto"), Package: proto.String("ramprow.rpcprobe.v1"),
		Syntax:     proto.String("proto3"),
		Dependency: []string{"ramprow/log/v1/log_service.proto", "ramprow/common/v1/access.proto"},
		Service: []*descriptorpb.ServiceDescriptorProto{
			{Name: proto.String("ProbeService"), Method: []*descriptorpb.MethodDescriptorProto{
				method("Chat", true, technicians), method("Strike", false, technicians),
			}},
			{Name: proto.String("RulelessService"), Method: []*descriptorpb.MethodDescriptorProto{method("Ask", false, nil)}},
			{Name: proto.String("RolelessService"), Method: []*descriptorpb.MethodDescriptorProto{method("Ask", false, &commonv1.Access{})}},
		},
	}, protoregistry.GlobalFiles)
	if err != nil {
		return err
	}
	return protoregistry.GlobalFiles.RegisterFile(file)
})

// probe is the implementation; each test sets what it calls.
type probe struct {
	chat   func(grpc.ServerStream) error
	strike func(context.Context, *logv1.ListParkedRequest) (*logv1.ListParkedResponse, error)
}

func probeDesc(service string) *grpc.ServiceDesc {
	desc := &grpc.ServiceDesc{ServiceName: service, HandlerType: (*any)(nil)}
	if service != probeService {
		desc.Methods = []grpc.MethodDesc{{MethodName: "Ask", Handler: strike}}
		return desc
	}
	desc.Methods = []grpc.MethodDesc{{MethodName: "Strike", Handler: strike}}
	desc.Streams = []grpc.StreamDesc{{
		StreamName: "Chat", ServerStreams: true, ClientStreams: true,
		Handler: func(impl any, stream grpc.ServerStream) error { return impl.(*probe).chat(stream) },
	}}
	return desc
}

// strike is what protoc-gen-go-grpc writes for a unary method.
func strike(impl any, ctx context.Context, decode func(any) error, _ grpc.UnaryServerInterceptor) (any, error) {
	in := new(logv1.ListParkedRequest)
	if err := decode(in); err != nil {
		return nil, err
	}
	return impl.(*probe).strike(ctx, in)
}

func TestMain(m *testing.M) {
	if err := registerProbes(); err != nil {
		panic(err)
	}
	m.Run()
}
