package rpc

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"
)

// retryPolicy waits 100 ms, 300 ms, 900 ms and 1 s (each at random between 80 and
// 120 %): longer together than the client takes to find a restarted service.
type retryPolicy struct {
	MaxAttempts          int      `json:"maxAttempts"`
	InitialBackoff       string   `json:"initialBackoff"`
	MaxBackoff           string   `json:"maxBackoff"`
	BackoffMultiplier    float64  `json:"backoffMultiplier"`
	RetryableStatusCodes []string `json:"retryableStatusCodes"`
}

type methodName struct {
	Service string `json:"service"`
	Method  string `json:"method"`
}

type methodConfig struct {
	Name        []methodName `json:"name"`
	RetryPolicy retryPolicy  `json:"retryPolicy"`
}

// serviceConfig tells gRPC's client to spread calls over all healthy servers and
// to repeat what may be repeated: only after UNAVAILABLE, only unary, and only
// methods of ours that read or whose request_id makes the second call harmless.
func serviceConfig() (string, error) {
	config := map[string]any{
		"loadBalancingConfig": []any{map[string]any{"round_robin": struct{}{}}},
		"healthCheckConfig":   map[string]string{"serviceName": ""},
		// Retries stop while more than half of the calls fail (gRFC A6).
		"retryThrottling": map[string]float64{"maxTokens": 100, "tokenRatio": 0.1},
	}
	if names := repeatableMethods(); len(names) > 0 {
		config["methodConfig"] = []methodConfig{{Name: names, RetryPolicy: retryPolicy{
			MaxAttempts: 5, InitialBackoff: "0.1s", MaxBackoff: "1s", BackoffMultiplier: 3,
			RetryableStatusCodes: []string{"UNAVAILABLE"},
		}}}
	}
	text, err := json.Marshal(config)
	if err != nil {
		return "", fmt.Errorf("write the service config: %w", err)
	}
	return string(text), nil
}

// repeatableMethods finds them among the services that are linked in.
func repeatableMethods() []methodName {
	var names []methodName
	protoregistry.GlobalFiles.RangeFiles(func(file protoreflect.FileDescriptor) bool {
		if !strings.HasPrefix(string(file.Package()), "ramprow.") {
			return true
		}
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			for j := range service.Methods().Len() {
				if m := service.Methods().Get(j); repeatable(m) {
					names = append(names, methodName{Service: string(service.FullName()), Method: string(m.Name())})
				}
			}
		}
		return true
	})
	slices.SortFunc(names, func(a, b methodName) int {
		return strings.Compare(a.Service+"/"+a.Method, b.Service+"/"+b.Method)
	})
	return names
}

// repeatable tells whether calling twice does no more than calling once.
func repeatable(m protoreflect.MethodDescriptor) bool {
	if isCommand(m) {
		return true
	}
	if m.IsStreamingClient() || m.IsStreamingServer() {
		return false
	}
	if options, ok := m.Options().(*descriptorpb.MethodOptions); ok {
		if options.GetIdempotencyLevel() != descriptorpb.MethodOptions_IDEMPOTENCY_UNKNOWN {
			return true
		}
	}
	return slices.ContainsFunc([]string{"Get", "List", "Describe"}, func(verb string) bool {
		return strings.HasPrefix(string(m.Name()), verb)
	})
}
