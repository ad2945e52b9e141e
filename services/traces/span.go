package traces

import (
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	commonpb "go.opentelemetry.io/proto/otlp/common/v1"
	tracepb "go.opentelemetry.io/proto/otlp/trace/v1"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/telemetry"
	tracesv1 "ramprow/proto/ramprow/traces/v1"
)

// arrived is a span as the store takes it, with what it is found by.
type arrived struct {
	trace   string
	span    *tracesv1.Span
	about   []string
	person  string
	service string
	parked  bool
}

// What is wrong with a span that is refused. The protocol (OTLP 1.x, trace.proto)
// demands ids of 16 and 8 bytes that are not all zero.
var (
	errTraceID = errors.New("a trace id has 16 bytes, not all zero")
	errSpanID  = errors.New("a span id has 8 bytes, not all zero")
	errTimes   = errors.New("a span ends at or after its start, within a year of now")
)

// horizon is how far from now a span's times may lie.
const horizon = 365 * 24 * time.Hour

// read turns one span of the protocol into the store's own, within its bounds.
func read(s *tracepb.Span, process string, now time.Time) (arrived, error) {
	if !validID(s.GetTraceId(), 16) {
		return arrived{}, errTraceID
	}
	if !validID(s.GetSpanId(), 8) || len(s.GetParentSpanId()) != 0 && len(s.GetParentSpanId()) != 8 {
		return arrived{}, errSpanID
	}
	start, ok := moment(s.GetStartTimeUnixNano(), now)
	end, alsoOK := moment(s.GetEndTimeUnixNano(), now)
	if !ok || !alsoOK || end.Before(start) {
		return arrived{}, errTimes
	}
	a := arrived{trace: hex.EncodeToString(s.GetTraceId())}
	a.span = &tracesv1.Span{
		SpanId: hex.EncodeToString(s.GetSpanId()), Name: cut(s.GetName(), maxName), Process: process, Kind: kindOf(s.GetKind()),
		Start: timestamppb.New(start), Took: durationpb.New(end.Sub(start)),
		Failed: s.GetStatus().GetCode() == tracepb.Status_STATUS_CODE_ERROR,
	}
	if validID(s.GetParentSpanId(), 8) {
		a.span.ParentSpanId = hex.EncodeToString(s.GetParentSpanId())
	}
	if a.span.GetFailed() {
		a.span.Error = cut(s.GetStatus().GetMessage(), maxError)
	}
	a.readAttributes(s.GetAttributes())
	for _, e := range s.GetEvents()[:min(len(s.GetEvents()), maxEvents)] {
		at, ok := moment(e.GetTimeUnixNano(), now)
		if !ok {
			at = start
		}
		a.span.Events = append(a.span.Events, &tracesv1.SpanEvent{
			At: timestamppb.New(at), Name: cut(e.GetName(), maxName), Attributes: attributes(e.GetAttributes(), maxAbout),
		})
	}
	return a, nil
}

func validID(id []byte, length int) bool {
	if len(id) != length {
		return false
	}
	for _, b := range id {
		if b != 0 {
			return true
		}
	}
	return false
}

func moment(nanos uint64, now time.Time) (time.Time, bool) {
	if nanos > math.MaxInt64 {
		return time.Time{}, false
	}
	at := time.Unix(0, int64(nanos))
	return at, at.Sub(now).Abs() <= horizon
}

func kindOf(k tracepb.Span_SpanKind) tracesv1.SpanKind {
	if _, known := tracesv1.SpanKind_name[int32(k)]; known {
		return tracesv1.SpanKind(k) // the numbers are the protocol's own
	}
	return tracesv1.SpanKind_SPAN_KIND_UNSPECIFIED
}

// readAttributes takes what the span is found by, and keeps the others as text.
func (a *arrived) readAttributes(all []*commonpb.KeyValue) {
	for _, kv := range all[:min(len(all), maxAttributes)] {
		if kv.GetKey() == telemetry.AttributeSite {
			a.span.Site = cut(kv.GetValue().GetStringValue(), maxName)
			continue
		}
		kept := &tracesv1.Attribute{Key: cut(kv.GetKey(), maxName), Value: text(kv.GetValue(), 0)}
		a.span.Attributes = append(a.span.Attributes, kept)
		a.remember(kept)
	}
}

// again makes a span that was kept into one that arrives.
func again(trace string, span *tracesv1.Span) arrived {
	a := arrived{trace: trace, span: span}
	for _, kv := range span.GetAttributes() {
		a.remember(kv)
	}
	return a
}

// remember takes what a span is found by from one of its attributes.
func (a *arrived) remember(kv *tracesv1.Attribute) {
	switch kv.GetKey() {
	case telemetry.AttributePerson:
		a.person = kv.GetValue()
	case telemetry.AttributeService:
		a.service = kv.GetValue()
	case telemetry.AttributeParked:
		a.parked = kv.GetValue() != ""
	case telemetry.AttributeAbout:
		for name := range strings.SplitSeq(kv.GetValue(), listMark) {
			if telemetry.IsName(name) && len(a.about) < maxAbout {
				a.about = append(a.about, name)
			}
		}
	}
}

// listMark stands between the entries of a list that is written as text.
const listMark = ", "

func attributes(all []*commonpb.KeyValue, most int) []*tracesv1.Attribute {
	var kept []*tracesv1.Attribute
	for _, kv := range all[:min(len(all), most)] {
		kept = append(kept, &tracesv1.Attribute{Key: cut(kv.GetKey(), maxName), Value: text(kv.GetValue(), 0)})
	}
	return kept
}

// deepest nesting of values that is written out.
const deepest = 3

// text writes a value of the protocol as people read it.
func text(v *commonpb.AnyValue, depth int) string {
	switch v := v.GetValue().(type) {
	case *commonpb.AnyValue_StringValue:
		return cut(v.StringValue, maxText)
	case *commonpb.AnyValue_BoolValue:
		return strconv.FormatBool(v.BoolValue)
	case *commonpb.AnyValue_IntValue:
		return strconv.FormatInt(v.IntValue, 10)
	case *commonpb.AnyValue_DoubleValue:
		return strconv.FormatFloat(v.DoubleValue, 'g', -1, 64)
	case *commonpb.AnyValue_BytesValue:
		return fmt.Sprintf("%d bytes", len(v.BytesValue))
	case *commonpb.AnyValue_ArrayValue:
		if depth >= deepest {
			return "…"
		}
		var words []string
		for _, one := range v.ArrayValue.GetValues()[:min(len(v.ArrayValue.GetValues()), maxAttributes)] {
			words = append(words, text(one, depth+1))
		}
		return cut(strings.Join(words, listMark), maxText)
	case *commonpb.AnyValue_KvlistValue:
		return fmt.Sprintf("%d entries", len(v.KvlistValue.GetValues()))
	default:
		return ""
	}
}

// cut shortens a text to so many bytes, between two characters. What is no text is made one.
func cut(s string, most int) string {
	if len(s) > most {
		end := most - len("…")
		for end > 0 && !utf8.RuneStart(s[end]) {
			end--
		}
		s = s[:end] + "…"
	}
	return strings.ToValidUTF8(s, "?")
}
