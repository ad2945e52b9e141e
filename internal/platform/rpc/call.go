package rpc

import (
	"context"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
)

// wrapUnary puts the steps around a unary method. They run before the generated
// code decodes anything; decoding and validation happen when it asks for the request.
func (s *Server) wrapUnary(m *method, handle grpc.MethodHandler) grpc.MethodHandler {
	return func(impl any, ctx context.Context, decode func(any) error, _ grpc.UnaryServerInterceptor) (response any, err error) {
		ctx, cancel := s.limit(ctx)
		defer cancel()
		defer s.watch(ctx, m)(&err)
		defer s.finish(ctx, m, &err)
		if ctx, err = s.admit(ctx, m); err != nil {
			return nil, err
		}
		if address := s.forwarder.target(ctx, m); address != "" {
			return s.forwarder.forward(ctx, m, address, decode)
		}
		response, err = handle(impl, ctx, func(request any) error {
			if err := receive(decode, request); err != nil {
				return err
			}
			if err := s.validate(request); err != nil {
				return err
			}
			tellAbout(ctx, request)
			return nil
		}, nil)
		if err != nil {
			return nil, err
		}
		tellAbout(ctx, response)
		return s.reveal(ctx, response), nil
	}
}

// reveal opens what an answer holds sealed. Only who was admitted gets one.
func (s *Server) reveal(ctx context.Context, response any) any {
	message, ok := response.(proto.Message)
	who, known := identity.FromContext(ctx)
	if !ok || !known || s.cfg.Reveal == nil {
		return response
	}
	return s.cfg.Reveal(ctx, who.Site, message)
}

// wrapStream puts the same steps around a streaming method. A stream has no
// deadline of its own: it ends when the caller or the server wants it to.
func (s *Server) wrapStream(m *method, handle grpc.StreamHandler) grpc.StreamHandler {
	return func(impl any, stream grpc.ServerStream) (err error) {
		ctx, cancel := context.WithCancelCause(stream.Context())
		defer cancel(nil)
		defer s.cfg.Telemetry.Metrics().Streaming(s.cfg.Service, strings.TrimPrefix(m.name, "/"))()
		defer s.finish(ctx, m, &err)
		defer context.AfterFunc(s.draining, func() { cancel(stopping()) })()
		admitted, err := s.admit(ctx, m)
		if err != nil {
			return err
		}
		return handle(impl, &serverStream{ServerStream: stream, ctx: admitted, server: s})
	}
}

// limit gives a call without a deadline, or with a distant one, the server's.
func (s *Server) limit(ctx context.Context) (context.Context, context.CancelFunc) {
	deadline, ok := ctx.Deadline()
	if ok && time.Until(deadline) <= s.cfg.MaxUnaryTime {
		return ctx, func() {}
	}
	return context.WithTimeout(ctx, s.cfg.MaxUnaryTime)
}

// admit finds out who calls and whether that person may.
func (s *Server) admit(ctx context.Context, m *method) (context.Context, error) {
	if m.open {
		return ctx, nil
	}
	id, err := s.cfg.Verifier.Verify(bearer(ctx))
	if err != nil {
		return ctx, err
	}
	for _, role := range m.roles {
		if id.Has(role) {
			tellWho(ctx, id)
			return identity.NewContext(ctx, id), nil
		}
	}
	return ctx, denied(m, id)
}

// bearer gives the token of the call's metadata (RFC 6750), or "".
func bearer(ctx context.Context) string {
	values := metadata.ValueFromIncomingContext(ctx, "authorization")
	if len(values) != 1 {
		return ""
	}
	scheme, token, _ := strings.Cut(values[0], " ")
	if !strings.EqualFold(scheme, "Bearer") {
		return ""
	}
	return token
}

func denied(m *method, id identity.Identity) error {
	needed := make([]string, 0, len(m.roles))
	for _, role := range m.roles {
		needed = append(needed, string(role))
	}
	list := strings.Join(needed, ", ")
	return fault.New(fault.Denied, "ROLE_MISSING", "%s may not do this; ask somebody who is %s", id.Person, list).
		With("person", id.Person).With("roles", list).With("method", m.name)
}

// serverStream decodes and validates each message that the caller sends, and opens each that he gets.
type serverStream struct {
	grpc.ServerStream

	ctx    context.Context //nolint:containedctx // a stream's context is asked of the stream
	server *Server
}

// Context implements grpc.ServerStream.
func (s *serverStream) Context() context.Context { return s.ctx }

// RecvMsg implements grpc.ServerStream.
func (s *serverStream) RecvMsg(message any) error {
	if err := receive(s.ServerStream.RecvMsg, message); err != nil {
		return err // io.EOF too: generated code compares it
	}
	return s.server.validate(message)
}

// SendMsg implements grpc.ServerStream.
func (s *serverStream) SendMsg(message any) error {
	return s.ServerStream.SendMsg(s.server.reveal(s.ctx, message))
}
