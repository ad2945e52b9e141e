package rpc

import (
	"testing"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/anypb"
	"google.golang.org/protobuf/types/known/structpb"

	logv1 "ramprow/proto/ramprow/log/v1"
)

func field(number protowire.Number, content []byte) []byte {
	return protowire.AppendBytes(protowire.AppendTag(nil, number, protowire.BytesType), content)
}

func join(parts ...[]byte) []byte {
	var all []byte
	for _, part := range parts {
		all = append(all, part...)
	}
	return all
}

// The fields of ramprow.log.v1.Commit: id = 1, number = 4, entries = 7;
// of Entry: command = 1, events = 5, actor = 6, whose roles = 2.
func TestFindFlaw(t *testing.T) {
	bad := []byte("a\xffb")
	good := field(1, []byte("c-1"))
	entry := func(content ...[]byte) []byte { return field(7, join(content...)) }
	tests := []struct {
		name string
		data []byte
		path string
	}{
		{"top level", field(1, bad), "id"},
		{"nested, in the second of a list", join(good, entry(), entry(field(1, field(2, bad)))), "entries[1].command.request_id"},
		{"two levels of lists", entry(field(5, field(1, nil)), field(5, field(1, bad))), "entries[0].events[1].type_url"},
		{"bytes may hold anything", join(field(5, bad), entry(field(1, field(3, bad))), field(1, bad)), "id"},
		{"an unknown field may hold anything", join(field(99, bad), field(3, bad)), "site"},
		{"text where a number belongs is an unknown field", join(field(4, bad), field(2, bad)), "service"},
		{"a packed number cut short", entry(field(6, field(2, []byte{1, 0x80}))), "entries[0].actor.roles"},
		{"a value cut short", field(1, []byte("abc"))[:3], "id"},
		{"an inner value cut short", entry(field(1, []byte("abc"))[:3]), "entries[0].command"},
		{"a field number of zero", []byte{0, 0}, ""},
		{"a group that only ends", protowire.AppendTag(nil, 1, protowire.EndGroupType), "id"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			commit := &logv1.Commit{}
			if err := proto.Unmarshal(tt.data, commit); err == nil {
				t.Fatal("these bytes are well formed")
			}
			got := findFlaw(tt.data, commit.ProtoReflect().Descriptor())
			if got.path != tt.path || got.description == "" {
				t.Errorf("found %+v, want path %q", got, tt.path)
			}
		})
	}
}

func TestFindFlawInAMap(t *testing.T) {
	// DescribeLogResponse.positions = 5 is a map from string to uint64.
	data := join(field(5, field(1, []byte("job"))), field(5, field(1, []byte("\xff"))))
	if got := findFlaw(data, (&logv1.DescribeLogResponse{}).ProtoReflect().Descriptor()); got.path != "positions[1].key" {
		t.Errorf("found %+v", got)
	}
}

// google.protobuf.Struct contains itself, so its bytes can nest without end.
func TestFindFlawEnds(t *testing.T) {
	data := field(1, field(1, []byte("\xff")))
	for range 60 { // Struct.fields = 1, entry value = 2, Value.struct_value = 5
		data = field(1, field(2, field(5, data)))
	}
	w := walker{}
	descriptor := (&structpb.Struct{}).ProtoReflect().Descriptor()
	if w.message(data, descriptor, "", 100) || w.found.description != "is nested too deeply" {
		t.Errorf("found %+v", w.found)
	}
	if got := findFlaw(data, descriptor); got.description != "must be text in UTF-8" {
		t.Errorf("within the decoder's depth: found %+v", got)
	}
}

// What the decoder accepts has no flaw, and what it refuses has one: the walk
// and the decoder must agree.
func FuzzFindFlaw(f *testing.F) {
	event, err := anypb.New(&logv1.ListParkedRequest{PageToken: "x"})
	if err != nil {
		f.Fatal(err)
	}
	whole, err := proto.Marshal(&logv1.Commit{
		Id: "c", Number: 7, PreviousHash: []byte{0xff},
		Entries: []*logv1.Entry{{Events: []*anypb.Any{event}, Traceparent: "t", Cause: &logv1.Entry_Command{
			Command: &logv1.CommandCause{Method: "/m", RequestId: "r"},
		}}},
	})
	if err != nil {
		f.Fatal(err)
	}
	f.Add(whole)
	f.Add(whole[:len(whole)-3])
	f.Add(field(1, []byte("\xff")))
	f.Add(protowire.AppendTag(nil, 7, protowire.StartGroupType))
	f.Fuzz(func(t *testing.T, data []byte) {
		commit := &logv1.Commit{}
		got := findFlaw(data, commit.ProtoReflect().Descriptor())
		refused := proto.Unmarshal(data, commit) != nil
		if refused != (got != unspecific()) {
			t.Errorf("refused %v, but found %+v", refused, got)
		}
		if !utf8.ValidString(got.path) {
			t.Errorf("path %q", got.path)
		}
	})
}
