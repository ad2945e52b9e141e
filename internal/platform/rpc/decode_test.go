package rpc_test

import (
	"context"
	"fmt"
	"io"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// rawCodec sends bytes as they are, which no generated client does.
type rawCodec struct{}

func (rawCodec) Name() string { return "proto" }

func (rawCodec) Marshal(v any) (mem.BufferSlice, error) {
	data, ok := v.([]byte)
	if !ok {
		return nil, fmt.Errorf("%T is not bytes", v)
	}
	return mem.BufferSlice{mem.SliceBuffer(data)}, nil
}

func (rawCodec) Unmarshal(mem.BufferSlice, any) error { return nil }

func rawCall(t *testing.T, conn *grpc.ClientConn, method string, data []byte) error {
	t.Helper()
	return conn.Invoke(soon(t), method, data, new([]byte), grpc.ForceCodecV2(rawCodec{}))
}

func text(number protowire.Number, value string) []byte {
	return protowire.AppendString(protowire.AppendTag(nil, number, protowire.BytesType), value)
}

func wantField(t *testing.T, err error, reason, path string) {
	t.Helper()
	f := gotFault(t, err, fault.Invalid, reason)
	for _, field := range f.Fields {
		if field.Path == path && field.Description != "" {
			return
		}
	}
	t.Errorf("fields %+v, want %q among them", f.Fields, path)
}

func TestInvalidRequestsNameTheirFields(t *testing.T) {
	ran := false
	b := start(t, setup{register: withLog(&fakeLog{drop: func(*logv1.DropParkedRequest) (*logv1.DropParkedResponse, error) {
		ran = true
		return &logv1.DropParkedResponse{}, nil
	}})})
	client := logv1.NewLogServiceClient(b.dial(identity.Owner))

	_, err := client.DropParked(soon(t), &logv1.DropParkedRequest{})
	for _, path := range []string{"request_id", "id", "reason"} {
		wantField(t, err, "INVALID_REQUEST", path)
	}
	_, err = client.DropParked(soon(t), &logv1.DropParkedRequest{RequestId: "12345678", Id: "p1", Reason: strings.Repeat("x", 501)})
	if f := gotFault(t, err, fault.Invalid, "INVALID_REQUEST"); len(f.Fields) != 1 || f.Fields[0].Path != "reason" {
		t.Errorf("fields %+v", f.Fields)
	}
	if ran {
		t.Fatal("the handler saw an invalid request")
	}
	if _, err = client.DropParked(soon(t), &logv1.DropParkedRequest{RequestId: "12345678", Id: "p1", Reason: "stale"}); err != nil || !ran {
		t.Errorf("a valid request: %v", err)
	}
}

func TestMalformedRequestsNameTheirFields(t *testing.T) {
	b := start(t, setup{register: withLog(&fakeLog{})})
	conn := b.dial(identity.Owner)
	tests := []struct {
		name, path string
		data       []byte
	}{
		{"text that is no UTF-8", "reason", append(text(1, "12345678"), text(3, "caf\xe9")...)},
		{"text cut short", "id", text(2, "p12345")[:4]},
		{"no field at all", "", []byte{0xff}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			wantField(t, rawCall(t, conn, logv1.LogService_DropParked_FullMethodName, tt.data), "MALFORMED_MESSAGE", tt.path)
		})
	}
}

// echo answers each message by one that counts its page size.
func echo(stream grpc.ServerStream) error {
	for {
		in := new(logv1.ListParkedRequest)
		if err := stream.RecvMsg(in); err == io.EOF { //nolint:errorlint // as generated code does
			return nil
		} else if err != nil {
			return err
		}
		if err := stream.SendMsg(&logv1.ListParkedResponse{NextPageToken: in.GetPageToken()}); err != nil {
			return err
		}
	}
}

func openChat(t *testing.T, conn *grpc.ClientConn, opts ...grpc.CallOption) grpc.ClientStream {
	t.Helper()
	desc := &grpc.StreamDesc{StreamName: "Chat", ServerStreams: true, ClientStreams: true}
	stream, err := conn.NewStream(soon(t), desc, "/"+probeService+"/Chat", opts...)
	if err != nil {
		t.Fatal(err)
	}
	return stream
}

func TestStreamsPassTheSameSteps(t *testing.T) {
	b := start(t, setup{register: withProbe(&probe{chat: echo})})
	out := new(logv1.ListParkedResponse)

	wantFault(t, openChat(t, b.dial()).RecvMsg(out), fault.Unauthenticated, "TOKEN_MISSING")
	wantFault(t, openChat(t, b.dial(identity.PartsClerk)).RecvMsg(out), fault.Denied, "ROLE_MISSING")

	stream := openChat(t, b.dial(identity.Technician))
	for _, in := range []*logv1.ListParkedRequest{{PageToken: "a"}, {PageToken: "b"}, {PageSize: -1}} {
		if err := stream.SendMsg(in); err != nil {
			t.Fatal(err)
		}
	}
	for _, want := range []string{"a", "b"} {
		if err := stream.RecvMsg(out); err != nil || out.GetNextPageToken() != want {
			t.Fatalf("got %v, %v, want %q", out, err, want)
		}
	}
	wantField(t, stream.RecvMsg(out), "INVALID_REQUEST", "page_size")

	raw := openChat(t, b.dial(identity.Technician), grpc.ForceCodecV2(rawCodec{}))
	if err := raw.SendMsg(text(2, "\xff")); err != nil {
		t.Fatal(err)
	}
	wantField(t, raw.RecvMsg(new([]byte)), "MALFORMED_MESSAGE", "page_token")

	finished := openChat(t, b.dial(identity.Technician))
	if err := finished.CloseSend(); err != nil {
		t.Fatal(err)
	}
	if err := finished.RecvMsg(out); err != io.EOF { //nolint:errorlint // callers compare it
		t.Errorf("a stream's end is io.EOF, got %v", err)
	}
}

func TestTooLargeARequest(t *testing.T) {
	b := start(t, setup{register: withLog(&fakeLog{})})
	_, err := logv1.NewLogServiceClient(b.dial(identity.Owner)).DropParked(soon(t), &logv1.DropParkedRequest{Reason: strings.Repeat("x", 9<<20)})
	if f := gotFault(t, err, fault.Exhausted, "EXHAUSTED"); !strings.Contains(f.Message, "8388608") {
		t.Errorf("message %q does not tell the limit of 8 MiB", f.Message)
	}
}

func TestManyFlawsStillFitIntoATrailer(t *testing.T) {
	b := start(t, setup{register: answering(func(context.Context) error {
		f := fault.New(fault.Invalid, "MANY", "%s", strings.Repeat("ü", 5000))
		for i := range 500 {
			f = f.WithField(fmt.Sprintf("items[%d].%s", i, strings.Repeat("x", 900)), "\xff%s", strings.Repeat("y", 900))
			f = f.WithUnmet(fault.Unmet{Type: "T", Subject: strings.Repeat("s", 900), Description: "d"})
			f = f.With(fmt.Sprintf("key%03d", i), strings.Repeat("v", 900))
		}
		return f
	})})
	_, err := logv1.NewLogServiceClient(b.dial(identity.Owner)).DescribeLog(soon(t), &logv1.DescribeLogRequest{})
	f := gotFault(t, err, fault.Invalid, "MANY")
	if len(f.Fields) == 0 || len(f.Unmet) == 0 || !strings.HasPrefix(f.Fields[0].Path, "items[0].") {
		t.Errorf("%d fields, %d unmet", len(f.Fields), len(f.Unmet))
	}
	if !strings.HasPrefix(f.Message, "üü") || !strings.HasSuffix(f.Message, "…") || f.Metadata["key000"] == "" {
		t.Errorf("message %q, metadata %v", f.Message, f.Metadata)
	}
	if size := proto.Size(statusOf(t, err)); size > 5<<10 {
		t.Errorf("status of %d bytes", size)
	}
}
