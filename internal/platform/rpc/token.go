package rpc

import (
	"context"

	"google.golang.org/grpc/credentials"
)

type tokenKey struct{}

// WithToken gives a context whose calls carry a token, as when a page calls on
// behalf of the person who looks at it.
func WithToken(ctx context.Context, token string) context.Context {
	return context.WithValue(ctx, tokenKey{}, token)
}

func tokenFromContext(ctx context.Context) (string, error) {
	token, _ := ctx.Value(tokenKey{}).(string)
	return token, nil
}

// tokenCredentials sends the token with each call.
type tokenCredentials struct {
	source func(context.Context) (string, error)
	secure bool
}

// GetRequestMetadata implements credentials.PerRPCCredentials.
func (t tokenCredentials) GetRequestMetadata(ctx context.Context, _ ...string) (map[string]string, error) {
	// gRPC's own health check is on nobody's behalf: it must not fail for want of
	// a person's token, or the connection would never be ready.
	if call, ok := credentials.RequestInfoFromContext(ctx); ok && isOpen(call.Method) {
		return nil, nil
	}
	token, err := t.source(ctx)
	if err != nil || token == "" {
		return nil, err
	}
	return map[string]string{"authorization": "Bearer " + token}, nil
}

// RequireTransportSecurity implements credentials.PerRPCCredentials. Where TLS
// is configured gRPC must not fall back; Dial has seen to it that plain text
// stays on this machine.
func (t tokenCredentials) RequireTransportSecurity() bool { return t.secure }
