// Package traces keeps what programs tell of their work by the OpenTelemetry
// protocol, and answers whose trace it was. The store is bounded by bytes and by
// age: a trace of no note makes room first, one with an error or a slow span last.
// It knows nothing of the workshop. What a trace is about, who caused it and to
// which site it belongs stand in the spans' attributes.
package traces
