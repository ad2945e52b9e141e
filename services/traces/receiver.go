package traces

import (
	"context"

	collector "go.opentelemetry.io/proto/otlp/collector/trace/v1"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	_ "google.golang.org/grpc/encoding/gzip" // exporters may compress

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/rpc"
)

// Bounds of one receiver: what a sender may send at once, and how many exports
// are read at the same time.
const (
	maxExportBytes = 4 << 20
	maxExports     = 8
	maxStreams     = 16
)

// Receiver takes spans by OTLP over gRPC (OpenTelemetry Protocol 1.x). It knows
// its senders by their certificates, or listens on the loopback alone.
type Receiver struct {
	collector.UnimplementedTraceServiceServer

	store *Store
	room  chan struct{}
}

// NewReceiver makes a gRPC server that hands everything to a store.
func NewReceiver(store *Store, creds credentials.TransportCredentials) *grpc.Server {
	server := grpc.NewServer(grpc.Creds(creds), grpc.MaxRecvMsgSize(maxExportBytes), grpc.MaxConcurrentStreams(maxStreams))
	collector.RegisterTraceServiceServer(server, &Receiver{store: store, room: make(chan struct{}, maxExports)})
	return server
}

// Export implements the collector's service. What is refused is told as the
// protocol says: the sender drops it and does not send it again.
func (r *Receiver) Export(ctx context.Context, in *collector.ExportTraceServiceRequest) (*collector.ExportTraceServiceResponse, error) {
	select {
	case r.room <- struct{}{}:
		defer func() { <-r.room }()
	case <-ctx.Done():
		return nil, rpc.ToStatus(fault.New(fault.Deadline, "TRACES_BUSY", "the trace store is busy; send the spans again")).Err()
	}
	response := &collector.ExportTraceServiceResponse{}
	if refused := r.store.Add(in.GetResourceSpans()); refused.Spans > 0 {
		response.PartialSuccess = &collector.ExportTracePartialSuccess{RejectedSpans: refused.Spans, ErrorMessage: refused.Why.Error()}
	}
	return response, nil
}
