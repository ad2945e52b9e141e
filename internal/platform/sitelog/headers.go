package sitelog

import (
	"time"

	logv1 "ramprow/proto/ramprow/log/v1"
)

// Headers of a commit message: CloudEvents 1.0 in binary mode, and the W3C
// trace context of the first entry. NATS headers are case-sensitive, so they
// are written exactly so, in lower case.
const (
	HeaderID          = "ce-id"
	HeaderSource      = "ce-source"
	HeaderType        = "ce-type"
	HeaderSpecVersion = "ce-specversion"
	HeaderTime        = "ce-time"
	HeaderSubject     = "ce-subject"
	HeaderContentType = "ce-datacontenttype"
	HeaderSchema      = "ce-dataschema"
	HeaderTraceparent = "traceparent"
	HeaderTracestate  = "tracestate"
)

// CommitType is the CloudEvents type of every commit, and its message's full name.
const CommitType = "ramprow.log.v1.Commit"

// headersOf names a commit for programs that look at headers only. All values
// are plain ASCII without quotes, blanks or percent signs, so none is escaped.
func headersOf(commit *logv1.Commit) map[string]string {
	header := map[string]string{
		HeaderID:          commit.GetId(),
		HeaderSource:      "/ramprow/" + commit.GetService() + "/" + commit.GetSite(),
		HeaderType:        CommitType,
		HeaderSpecVersion: "1.0",
		HeaderTime:        commit.GetTime().AsTime().Format(time.RFC3339Nano),
		HeaderSubject:     commit.GetSite(),
		HeaderContentType: "application/protobuf",
		HeaderSchema:      "proto:" + CommitType,
	}
	first := commit.GetEntries()[0]
	if first.GetTraceparent() != "" {
		header[HeaderTraceparent] = first.GetTraceparent()
	}
	if first.GetTracestate() != "" {
		header[HeaderTracestate] = first.GetTracestate()
	}
	return header
}
