package simulation

import (
	"context"
	"fmt"
	"strings"
	"sync"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/identity"
)

// Request is what a caller wants done.
type Request struct {
	Service string // the log's name, as in torque-audit
	Method  string // full, as in /ramprow.job.v1.JobService/OpenJob
	Message proto.Message
	Who     identity.Identity
}

// Call is one attempt at a request, and what came of it.
type Call struct {
	Request
	Number  int
	Step    int // in which it was made
	Replica string
	// Answered is false as long as nothing came back. Then Err is the refusal or
	// failure, or Answer the response.
	Answered bool
	Answer   proto.Message
	Err      error

	cancel context.CancelFunc
	heard  bool
}

// methods is a gRPC server without a network: services register, calls are made
// in the process.
type methods struct {
	mu    sync.Mutex
	known map[string]method
}

type method struct {
	server  any
	handler grpc.MethodHandler
}

// RegisterService implements grpc.ServiceRegistrar.
func (m *methods) RegisterService(d *grpc.ServiceDesc, server any) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, one := range d.Methods {
		m.known["/"+d.ServiceName+"/"+one.MethodName] = method{server: server, handler: one.Handler}
	}
}

func (m *methods) invoke(ctx context.Context, r Request) (proto.Message, error) {
	m.mu.Lock()
	found, ok := m.known[r.Method]
	m.mu.Unlock()
	if !ok {
		return nil, fmt.Errorf("simulation: nobody serves %s", r.Method)
	}
	ctx = grpc.NewContextWithServerTransportStream(identity.NewContext(ctx, r.Who), stream(r.Method))
	answer, err := found.handler(found.server, ctx, func(into any) error {
		request, ok := into.(proto.Message)
		if !ok {
			return fmt.Errorf("simulation: %T is no message", into)
		}
		proto.Merge(request, r.Message)
		return nil
	}, nil)
	if err != nil {
		return nil, err
	}
	message, _ := answer.(proto.Message) // a handler's answer always is one
	return message, nil
}

// stream tells a handler its method's name, and takes no headers.
type stream string

// Method implements grpc.ServerTransportStream.
func (s stream) Method() string { return string(s) }

// SetHeader implements grpc.ServerTransportStream.
func (s stream) SetHeader(metadata.MD) error { return nil }

// SendHeader implements grpc.ServerTransportStream.
func (s stream) SendHeader(metadata.MD) error { return nil }

// SetTrailer implements grpc.ServerTransportStream.
func (s stream) SetTrailer(metadata.MD) error { return nil }

// short names a method without its package.
func (r Request) short() string { return r.Method[strings.LastIndexByte(r.Method, '/')+1:] }
