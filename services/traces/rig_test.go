package traces

import (
	"encoding/binary"
	"time"

	commonpb "go.opentelemetry.io/proto/otlp/common/v1"
	resourcepb "go.opentelemetry.io/proto/otlp/resource/v1"
	tracepb "go.opentelemetry.io/proto/otlp/trace/v1"

	"ramprow/internal/platform/telemetry"
)

// noon is when the tests' clocks begin.
var noon = time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)

// clock is a test's clock.
type clock struct{ at time.Time }

func (c *clock) now() time.Time { return c.at }

func id(n uint64, length int) []byte {
	b := make([]byte, length)
	binary.BigEndian.PutUint64(b[length-8:], n)
	return b
}

// call is a span of a site that takes 10 ms.
func call(trace, span uint64, site string) *tracepb.Span {
	return &tracepb.Span{
		TraceId: id(trace, 16), SpanId: id(span, 8), Name: "workshop/Call", Kind: tracepb.Span_SPAN_KIND_SERVER,
		StartTimeUnixNano: uint64(noon.UnixNano()), EndTimeUnixNano: uint64(noon.Add(10 * time.Millisecond).UnixNano()),
		Attributes: []*commonpb.KeyValue{word(telemetry.AttributeSite, site)},
	}
}

func word(key, value string) *commonpb.KeyValue {
	return &commonpb.KeyValue{Key: key, Value: &commonpb.AnyValue{Value: &commonpb.AnyValue_StringValue{StringValue: value}}}
}

func about(names ...string) *commonpb.KeyValue {
	list := &commonpb.ArrayValue{}
	for _, n := range names {
		list.Values = append(list.Values, &commonpb.AnyValue{Value: &commonpb.AnyValue_StringValue{StringValue: n}})
	}
	return &commonpb.KeyValue{Key: telemetry.AttributeAbout, Value: &commonpb.AnyValue{Value: &commonpb.AnyValue_ArrayValue{ArrayValue: list}}}
}

func failed(s *tracepb.Span, why string) *tracepb.Span {
	s.Status = &tracepb.Status{Code: tracepb.Status_STATUS_CODE_ERROR, Message: why}
	return s
}

func lasting10(s *tracepb.Span, times int) *tracepb.Span {
	s.EndTimeUnixNano = s.GetStartTimeUnixNano() + uint64(times)*uint64(10*time.Millisecond)
	return s
}

func from(process string, spans ...*tracepb.Span) []*tracepb.ResourceSpans {
	return []*tracepb.ResourceSpans{{
		Resource:   &resourcepb.Resource{Attributes: []*commonpb.KeyValue{word("service.name", process)}},
		ScopeSpans: []*tracepb.ScopeSpans{{Spans: spans}},
	}}
}
