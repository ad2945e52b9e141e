package rpc

import (
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/encoding"
	protocodec "google.golang.org/grpc/encoding/proto"
	"google.golang.org/grpc/mem"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
)

// envelope travels through gRPC in a message's place, so that the codec can lay
// what was wrong with the bytes beside it: of an error that a codec returns,
// gRPC keeps only the text, and calls it INTERNAL.
type envelope struct {
	message proto.Message
	failure *fault.Error
}

// codec is gRPC's own, but for envelopes.
type codec struct{ encoding.CodecV2 }

func newCodec() codec { return codec{encoding.GetCodecV2(protocodec.Name)} }

// Unmarshal implements encoding.CodecV2.
func (c codec) Unmarshal(data mem.BufferSlice, target any) error {
	wrapped, ok := target.(*envelope)
	if !ok {
		return c.CodecV2.Unmarshal(data, target)
	}
	err := c.CodecV2.Unmarshal(data, wrapped.message)
	if err != nil {
		wrapped.failure = malformed(data.Materialize(), wrapped.message.ProtoReflect().Descriptor(), err)
	}
	return err
}

// receive decodes one message through next, which is gRPC's.
func receive(next func(any) error, target any) error {
	message, ok := target.(proto.Message)
	if !ok {
		return next(target)
	}
	wrapped := envelope{message: message}
	err := next(&wrapped)
	if wrapped.failure != nil {
		return wrapped.failure
	}
	if status.Code(err) == codes.ResourceExhausted {
		return fault.New(fault.Exhausted, "MESSAGE_TOO_LARGE", "the message is larger than %d bytes; send less at a time", maxReceiveBytes).Because(err)
	}
	return err
}

// malformed says where the bytes are wrong.
func malformed(data []byte, descriptor messageDescriptor, cause error) *fault.Error {
	flaw := findFlaw(data, descriptor)
	return fault.New(fault.Invalid, "MALFORMED_MESSAGE", "the bytes are no %s; send what its schema says", descriptor.FullName()).
		With("message", string(descriptor.FullName())).
		WithField(flaw.path, "%s", flaw.description).
		Because(cause)
}
