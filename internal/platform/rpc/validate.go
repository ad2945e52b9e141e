package rpc

import (
	"errors"
	"fmt"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
)

// newValidator compiles the rules of all requests, so that the first call is no
// slower than the next and a rule that does not compile keeps the server from starting.
func newValidator(methods []*method) (protovalidate.Validator, error) {
	inputs := make([]messageDescriptor, 0, len(methods))
	for _, m := range methods {
		inputs = append(inputs, m.input)
	}
	validator, err := protovalidate.New(
		protovalidate.WithMessageDescriptors(inputs...),
		protovalidate.WithDisableLazy(),
	)
	if err != nil {
		return nil, fmt.Errorf("compile the validation rules: %w", err)
	}
	return validator, nil
}

// validate checks one request against the rules in its schema.
func (s *Server) validate(target any) error {
	message, ok := target.(proto.Message)
	if !ok {
		return nil
	}
	err := s.validator.Validate(message)
	if err == nil {
		return nil
	}
	invalid, ok := errors.AsType[*protovalidate.ValidationError](err)
	if !ok {
		return fmt.Errorf("validate a request: %w", err)
	}
	f := fault.New(fault.Invalid, "INVALID_REQUEST", "the request is not valid; correct the named fields")
	for _, v := range invalid.Violations {
		f = f.WithField(protovalidate.FieldPathString(v.Proto.GetField()), "%s", v.Proto.GetMessage())
	}
	return f
}
