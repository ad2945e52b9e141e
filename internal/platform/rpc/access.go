package rpc

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/grpc/health/grpc_health_v1"
	reflectionv1 "google.golang.org/grpc/reflection/grpc_reflection_v1"
	reflectionv1alpha "google.golang.org/grpc/reflection/grpc_reflection_v1alpha"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"ramprow/internal/platform/identity"
	commonv1 "ramprow/proto/ramprow/common/v1"
)

// ErrNoRule says that a method names nobody who may call it.
var ErrNoRule = errors.New("method has no access rule")

// method is what is known of a method before it is called.
type method struct {
	// name is the full name, as in /ramprow.job.v1.JobService/OpenJob.
	name string
	// open methods ask for no token.
	open  bool
	roles []identity.Role
	// command: it changes something, and its request_id makes it repeatable.
	command bool
	input   protoreflect.MessageDescriptor
}

// openServices tell nothing that needs a token: whether the server lives, and
// the published API.
func openServices() []string {
	return []string{
		grpc_health_v1.Health_ServiceDesc.ServiceName,
		reflectionv1.ServerReflection_ServiceDesc.ServiceName,
		reflectionv1alpha.ServerReflection_ServiceDesc.ServiceName,
	}
}

// isOpen tells whether a full method name belongs to an open service.
func isOpen(name string) bool {
	service, _, _ := strings.Cut(strings.TrimPrefix(name, "/"), "/")
	return slices.Contains(openServices(), service)
}

// describe looks a service's methods up by name in the descriptors that are
// linked into the program.
func describe(service string) (map[string]*method, error) {
	found, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(service))
	if err != nil {
		return nil, fmt.Errorf("service %s: %w", service, err)
	}
	descriptor, ok := found.(protoreflect.ServiceDescriptor)
	if !ok {
		return nil, fmt.Errorf("%s is not a service", service)
	}
	open := slices.Contains(openServices(), service)
	methods := map[string]*method{}
	var failures []error
	for i := range descriptor.Methods().Len() {
		d := descriptor.Methods().Get(i)
		m := &method{name: fmt.Sprintf("/%s/%s", service, d.Name()), open: open, command: isCommand(d), input: d.Input()}
		if !open {
			m.roles, err = allowed(d)
			failures = append(failures, err)
		}
		methods[string(d.Name())] = m
	}
	return methods, errors.Join(failures...)
}

// isCommand tells whether a unary method is repeatable by its request_id.
func isCommand(d protoreflect.MethodDescriptor) bool {
	return !d.IsStreamingClient() && !d.IsStreamingServer() && d.Input().Fields().ByName("request_id") != nil
}

// allowed reads the method's access option.
func allowed(d protoreflect.MethodDescriptor) ([]identity.Role, error) {
	access, _ := proto.GetExtension(d.Options(), commonv1.E_Access).(*commonv1.Access)
	if len(access.GetRoles()) == 0 {
		return nil, fmt.Errorf("%w: %s; add option (ramprow.common.v1.access) with the roles that may call it", ErrNoRule, d.FullName())
	}
	roles := make([]identity.Role, 0, len(access.GetRoles()))
	for _, r := range access.GetRoles() {
		role, ok := RoleOf(r)
		if !ok {
			return nil, fmt.Errorf("%w: %s names the unknown role %s", ErrNoRule, d.FullName(), r)
		}
		roles = append(roles, role)
	}
	return roles, nil
}

// RoleOf gives the domain's role for the protocol's, and false for none.
func RoleOf(role commonv1.Role) (identity.Role, bool) {
	switch role {
	case commonv1.Role_ROLE_DISPATCHER:
		return identity.Dispatcher, true
	case commonv1.Role_ROLE_PARTS_CLERK:
		return identity.PartsClerk, true
	case commonv1.Role_ROLE_TECHNICIAN:
		return identity.Technician, true
	case commonv1.Role_ROLE_OWNER:
		return identity.Owner, true
	case commonv1.Role_ROLE_CALENDAR:
		return identity.Calendar, true
	case commonv1.Role_ROLE_UNSPECIFIED:
		return "", false
	default:
		return "", false
	}
}

// ProtoRole gives the protocol's role for the domain's.
func ProtoRole(role identity.Role) commonv1.Role {
	switch role {
	case identity.Dispatcher:
		return commonv1.Role_ROLE_DISPATCHER
	case identity.PartsClerk:
		return commonv1.Role_ROLE_PARTS_CLERK
	case identity.Technician:
		return commonv1.Role_ROLE_TECHNICIAN
	case identity.Owner:
		return commonv1.Role_ROLE_OWNER
	case identity.Calendar:
		return commonv1.Role_ROLE_CALENDAR
	default:
		return commonv1.Role_ROLE_UNSPECIFIED
	}
}
