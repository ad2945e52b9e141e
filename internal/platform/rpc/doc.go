// Package rpc is the one way to serve and to call gRPC in Ramprow.
//
// A call passes, in this order: tracing, recovery from panics, a deadline,
// authentication, the role check, decoding, validation, the handler. The steps
// wrap each method as it is registered, so that its rule is known before the
// first call and nobody's bytes are parsed before the caller is known. A server
// refuses to start if any of its methods says nothing about who may call it.
//
// Errors cross as *fault.Error: one table turns kinds into status codes with
// details, and the client turns them back. What is no fault is a defect: the
// caller gets INTERNAL with a neutral text, the log gets the truth.
package rpc
