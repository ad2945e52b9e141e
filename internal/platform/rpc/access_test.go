package rpc_test

import (
	"context"
	"crypto/ed25519"
	"errors"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/health/grpc_health_v1"
	reflectionv1 "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
	commonv1 "ramprow/proto/ramprow/common/v1"
	logv1 "ramprow/proto/ramprow/log/v1"
)

func keysOf(keys ...identity.Key) []ed25519.PublicKey {
	var public []ed25519.PublicKey
	for _, key := range keys {
		public = append(public, key.Public())
	}
	return public
}

func TestWhoMayCall(t *testing.T) {
	var asWhom identity.Identity
	for _, overPipe := range []bool{false, true} {
		b := start(t, setup{overPipe: overPipe, register: withLog(&fakeLog{
			describe: func(ctx context.Context) (*logv1.DescribeLogResponse, error) {
				asWhom, _ = identity.FromContext(ctx)
				return &logv1.DescribeLogResponse{}, nil
			},
		})})
		call := func(roles ...identity.Role) error {
			_, err := logv1.NewLogServiceClient(b.dial(roles...)).DescribeLog(soon(t), &logv1.DescribeLogRequest{})
			return err
		}
		wantFault(t, call(), fault.Unauthenticated, "TOKEN_MISSING")
		denied := gotFault(t, call(identity.Technician, identity.Dispatcher), fault.Denied, "ROLE_MISSING")
		if denied.Metadata["roles"] != "owner" || denied.Metadata["method"] != logv1.LogService_DescribeLog_FullMethodName {
			t.Errorf("metadata %v", denied.Metadata)
		}
		if asWhom.Person != "" {
			t.Fatal("the handler ran for somebody who may not call it")
		}
		if err := call(identity.Owner); err != nil {
			t.Fatal(err)
		}
		if asWhom.Person != "ada" || asWhom.Site != "north" {
			t.Errorf("the handler was called as %+v", asWhom)
		}
		asWhom = identity.Identity{}
	}
}

func TestTheOwnerMayCallEverything(t *testing.T) {
	b := start(t, setup{register: withProbe(&probe{strike: func(context.Context, *logv1.ListParkedRequest) (*logv1.ListParkedResponse, error) {
		return &logv1.ListParkedResponse{}, nil
	}})})
	call := func(role identity.Role) error {
		return b.dial(role).Invoke(soon(t), "/"+probeService+"/Strike", &logv1.ListParkedRequest{}, &logv1.ListParkedResponse{})
	}
	for _, role := range []identity.Role{identity.Technician, identity.Owner} {
		if err := call(role); err != nil {
			t.Errorf("%s: %v", role, err)
		}
	}
	wantFault(t, call(identity.PartsClerk), fault.Denied, "ROLE_MISSING")
}

func TestABadTokenIsRefusedBeforeTheRequestIsRead(t *testing.T) {
	b := start(t, setup{register: withLog(&fakeLog{})})
	stranger, err := identity.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	trusted := b.key
	b.key = stranger
	conn := b.dial(identity.Owner)
	b.key = trusted
	// The request is malformed too: whoever proves nothing learns nothing about it.
	wantFault(t, rawCall(t, conn, logv1.LogService_DropParked_FullMethodName, []byte{0xff}), fault.Unauthenticated, "TOKEN_INVALID")
}

func TestAServerWithoutRulesRefusesToStart(t *testing.T) {
	for _, service := range []string{rulelessService, rolelessService} {
		b := newServer(t, setup{register: func(s *rpc.Server) { s.RegisterService(probeDesc(service), &probe{}) }})
		err := b.server.Serve(listen(t, "127.0.0.1:0"))
		if !errors.Is(err, rpc.ErrNoRule) || !strings.Contains(err.Error(), service+".Ask") {
			t.Errorf("%s: got %v, want ErrNoRule that names the method", service, err)
		}
	}
}

func TestAnUnlinkedServiceRefusesToStart(t *testing.T) {
	b := newServer(t, setup{register: func(s *rpc.Server) { s.RegisterService(probeDesc("ramprow.none.v1.NoService"), &probe{}) }})
	if err := b.server.Serve(listen(t, "127.0.0.1:0")); err == nil || !strings.Contains(err.Error(), "NoService") {
		t.Errorf("got %v", err)
	}
}

func TestHealthAndReflectionAreOpen(t *testing.T) {
	b := start(t, setup{register: withLog(&fakeLog{})})
	conn := b.dial()
	for _, service := range []string{"", "ramprow.log.v1.LogService"} {
		answer, err := grpc_health_v1.NewHealthClient(conn).Check(soon(t), &grpc_health_v1.HealthCheckRequest{Service: service})
		if err != nil || answer.GetStatus() != grpc_health_v1.HealthCheckResponse_SERVING {
			t.Errorf("health of %q: %v, %v", service, answer, err)
		}
	}
	stream, err := reflectionv1.NewServerReflectionClient(conn).ServerReflectionInfo(soon(t))
	if err != nil {
		t.Fatal(err)
	}
	if err := stream.Send(&reflectionv1.ServerReflectionRequest{
		MessageRequest: &reflectionv1.ServerReflectionRequest_ListServices{},
	}); err != nil {
		t.Fatal(err)
	}
	answer, err := stream.Recv()
	if err != nil {
		t.Fatal(err)
	}
	names := map[string]bool{}
	for _, s := range answer.GetListServicesResponse().GetService() {
		names[s.GetName()] = true
	}
	if !names["ramprow.log.v1.LogService"] || !names["grpc.health.v1.Health"] {
		t.Errorf("reflection lists %v", names)
	}
}

func TestUnknownMethods(t *testing.T) {
	b := start(t, setup{register: withLog(&fakeLog{})})
	conn := b.dial(identity.Owner)
	for _, name := range []string{"/ramprow.log.v1.LogService/Nothing", "/no.Service/Nothing"} {
		err := conn.Invoke(soon(t), name, &logv1.DescribeLogRequest{}, &logv1.DescribeLogResponse{})
		if f := gotFault(t, err, fault.Unimplemented, "METHOD_UNKNOWN"); f.Metadata["method"] != name {
			t.Errorf("metadata %v", f.Metadata)
		}
	}
	// Generated code's own answer for what an implementation lacks carries no details.
	_, err := logv1.NewLogServiceClient(conn).ReleaseParked(soon(t), &logv1.ReleaseParkedRequest{RequestId: "12345678", Id: "p1"})
	wantFault(t, err, fault.Unimplemented, "UNIMPLEMENTED")
	st, _ := status.FromError(err)
	if info, ok := st.Details()[0].(*errdetails.ErrorInfo); !ok || info.GetDomain() != "ramprow" {
		t.Errorf("every error carries an ErrorInfo first, this one %v", st.Details())
	}
}

func TestEveryProtocolRoleIsADomainRole(t *testing.T) {
	seen := map[identity.Role]bool{}
	for number := range commonv1.Role_name {
		role, ok := rpc.RoleOf(commonv1.Role(number))
		if ok != (number != 0) {
			t.Errorf("%s: %v", commonv1.Role(number), ok)
		}
		if ok && rpc.ProtoRole(role) != commonv1.Role(number) {
			t.Errorf("%s becomes %s becomes %s", commonv1.Role(number), role, rpc.ProtoRole(role))
		}
		seen[role] = ok
	}
	for _, role := range identity.Roles() {
		if !seen[role] {
			t.Errorf("no protocol role for %s", role)
		}
	}
}
