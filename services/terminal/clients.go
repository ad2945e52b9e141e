package terminal

import (
	"errors"
	"fmt"

	"google.golang.org/grpc"

	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/telemetry"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	logv1 "ramprow/proto/ramprow/log/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
	tracesv1 "ramprow/proto/ramprow/traces/v1"
)

// Clients calls every service of a workshop.
type Clients struct {
	Job        jobv1.JobServiceClient
	Billing    jobv1.BillingServiceClient
	Learning   jobv1.LearningServiceClient
	Personal   jobv1.PersonalDataServiceClient
	Figures    jobv1.FiguresServiceClient
	Inventory  inventoryv1.InventoryServiceClient
	Buying     inventoryv1.BuyingServiceClient
	Scheduling schedulingv1.SchedulingServiceClient
	Audit      torqueauditv1.TorqueAuditServiceClient
	// Traces finds traces; nil where no address was given.
	Traces tracesv1.TraceServiceClient
	// Logs answers for each service's log, by role name.
	Logs  map[string]logv1.LogServiceClient
	conns []*grpc.ClientConn
}

// Roles that a terminal talks to.
const (
	RoleJob        = "job"
	RoleInventory  = "inventory"
	RoleScheduling = "scheduling"
	RoleAudit      = "torque-audit"
	// RoleTraces keeps traces and has no log; a workshop may do without.
	RoleTraces = "traces"
)

// RoleNames lists them.
func RoleNames() []string { return []string{RoleJob, RoleInventory, RoleScheduling, RoleAudit} }

// DialConfig says where the services are and how they are trusted.
type DialConfig struct {
	// Addresses by role name; all four, and that of traces where there is such a role.
	Addresses map[string]string
	Telemetry *telemetry.Telemetry
	TLS       *rpc.ClientTLS
}

// Dial connects to all services. Each call takes its token from its context,
// see rpc.WithToken.
func Dial(c DialConfig) (*Clients, error) {
	clients := &Clients{Logs: map[string]logv1.LogServiceClient{}}
	conns := map[string]*grpc.ClientConn{}
	for _, role := range append(RoleNames(), RoleTraces) {
		address, ok := c.Addresses[role]
		if !ok && role == RoleTraces {
			continue
		}
		if !ok {
			return nil, errors.Join(fmt.Errorf("no address for %s", role), clients.Close())
		}
		conn, err := rpc.Dial(rpc.ClientConfig{Telemetry: c.Telemetry, Target: address, TLS: c.TLS})
		if err != nil {
			return nil, errors.Join(err, clients.Close())
		}
		clients.conns = append(clients.conns, conn)
		conns[role] = conn
		if role == RoleTraces {
			clients.Traces = tracesv1.NewTraceServiceClient(conn)
			continue
		}
		clients.Logs[role] = logv1.NewLogServiceClient(conn)
	}
	clients.Job = jobv1.NewJobServiceClient(conns[RoleJob])
	clients.Learning = jobv1.NewLearningServiceClient(conns[RoleJob])
	clients.Personal = jobv1.NewPersonalDataServiceClient(conns[RoleJob])
	clients.Figures = jobv1.NewFiguresServiceClient(conns[RoleJob])
	clients.Billing = jobv1.NewBillingServiceClient(conns[RoleJob])
	clients.Inventory = inventoryv1.NewInventoryServiceClient(conns[RoleInventory])
	clients.Buying = inventoryv1.NewBuyingServiceClient(conns[RoleInventory])
	clients.Scheduling = schedulingv1.NewSchedulingServiceClient(conns[RoleScheduling])
	clients.Audit = torqueauditv1.NewTorqueAuditServiceClient(conns[RoleAudit])
	return clients, nil
}

// Close ends all connections.
func (c *Clients) Close() error {
	var failures []error
	for _, conn := range c.conns {
		failures = append(failures, conn.Close())
	}
	return errors.Join(failures...)
}
