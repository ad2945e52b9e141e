package rpc

import (
	"google.golang.org/grpc/encoding"
	protocodec "google.golang.org/grpc/encoding/proto"
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
)

// envelope travels through gRPC in a message's place, so that the codec can lay
// what was wrong with the bytes beside it: an error that a codec returns is at
// once sent as INTERNAL, and nothing that a handler says later can mend that.
type envelope struct {
	message proto.Message
	failure *fault.Error
}

// codec is gRPC's own, but for envelopes and for bytes that only pass through.
type codec struct{ encoding.CodecV2 }

func newCodec() codec { return codec{encoding.GetCodecV2(protocodec.Name)} }

// Marshal implements encoding.CodecV2.
func (c codec) Marshal(message any) (mem.BufferSlice, error) {
	if bytes, ok := message.(*raw); ok {
		return mem.BufferSlice{mem.SliceBuffer(*bytes)}, nil
	}
	return c.CodecV2.Marshal(message)
}

// Unmarshal implements encoding.CodecV2.
func (c codec) Unmarshal(data mem.BufferSlice, target any) error {
	if bytes, ok := target.(*raw); ok {
		*bytes = data.Materialize()
		return nil
	}
	wrapped, ok := target.(*envelope)
	if !ok {
		return c.CodecV2.Unmarshal(data, target)
	}
	if err := c.CodecV2.Unmarshal(data, wrapped.message); err != nil {
		wrapped.failure = malformed(data.Materialize(), wrapped.message.ProtoReflect().Descriptor(), err)
	}
	return nil
}

// receive decodes one message through next, which is gRPC's.
func receive(next func(any) error, target any) error {
	message, ok := target.(proto.Message)
	if !ok {
		return next(target)
	}
	wrapped := envelope{message: message}
	if err := next(&wrapped); err != nil {
		return err
	}
	if wrapped.failure != nil { // a nil *fault.Error in an error would not be nil
		return wrapped.failure
	}
	return nil
}

// malformed says where the bytes are wrong.
func malformed(data []byte, descriptor messageDescriptor, cause error) *fault.Error {
	flaw := findFlaw(data, descriptor)
	return fault.New(fault.Invalid, "MALFORMED_MESSAGE", "the bytes are no %s; send what its schema says", descriptor.FullName()).
		With("message", string(descriptor.FullName())).
		WithField(flaw.path, "%s", flaw.description).
		Because(cause)
}
