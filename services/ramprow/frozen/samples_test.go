package frozen_test

import (
	"bufio"
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"os"
	"slices"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	logv1 "ramprow/proto/ramprow/log/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

var add = flag.Bool("add", false, "add samples of events and fields that have none")

// eventFiles by service: the language in which each service writes its log.
var eventFiles = map[string]protoreflect.FileDescriptor{
	"log":               logv1.File_ramprow_log_v1_archive_proto,
	"job":               jobv1.File_ramprow_job_v1_events_proto,
	"job-record":        jobv1.File_ramprow_job_v1_record_proto,
	"inventory-record":  inventoryv1.File_ramprow_inventory_v1_record_proto,
	"scheduling-record": schedulingv1.File_ramprow_scheduling_v1_record_proto,
	"inventory":         inventoryv1.File_ramprow_inventory_v1_events_proto,
	"scheduling":        schedulingv1.File_ramprow_scheduling_v1_events_proto,
	"torque-audit":      torqueauditv1.File_ramprow_torque_audit_v1_events_proto,
}

// sample is one event as it was written, and what it meant.
type sample struct {
	Event protoreflect.FullName `json:"event"`
	Wire  []byte                `json:"wire"`
	Means json.RawMessage       `json:"means"`
}

// eventsOf gives the messages of a file that are no part of another message of it.
func eventsOf(file protoreflect.FileDescriptor) []protoreflect.MessageDescriptor {
	parts := map[protoreflect.FullName]bool{}
	messages := file.Messages()
	for i := range messages.Len() {
		for j := range messages.Get(i).Fields().Len() {
			if m := messages.Get(i).Fields().Get(j).Message(); m != nil {
				parts[m.FullName()] = true
			}
		}
	}
	var events []protoreflect.MessageDescriptor
	for i := range messages.Len() {
		if !parts[messages.Get(i).FullName()] {
			events = append(events, messages.Get(i))
		}
	}
	return events
}

func samplesFile(service string) string { return "testdata/events-" + service + ".jsonl" }

func readSamples(t *testing.T, service string) []sample {
	t.Helper()
	var samples []sample
	readLines(t, samplesFile(service), func(line []byte) {
		var s sample
		if err := json.Unmarshal(line, &s); err != nil {
			t.Fatal(err)
		}
		samples = append(samples, s)
	})
	return samples
}

// Whatever was written once is read for ever, to the last field, as it was meant.
func TestEverySampleIsRead(t *testing.T) {
	for service := range eventFiles {
		for i, s := range readSamples(t, service) {
			t.Run(fmt.Sprintf("%s/%d", s.Event, i), func(t *testing.T) {
				got, want := s.read(t), newMessage(t, s.Event)
				if err := protojson.Unmarshal(s.Means, want); err != nil {
					t.Fatalf("its meaning has no words any more: %v", err)
				}
				if !proto.Equal(got, want) {
					t.Errorf("it says %v, and meant %v", got, want)
				}
				if unknown(got) {
					t.Error("a part of it is foreign to this program; a field was removed or has another number")
				}
			})
		}
	}
}

func (s sample) read(t *testing.T) proto.Message {
	t.Helper()
	m := newMessage(t, s.Event)
	if err := proto.Unmarshal(s.Wire, m); err != nil {
		t.Fatalf("%s cannot be read any more: %v", s.Event, err)
	}
	return m
}

func newMessage(t *testing.T, name protoreflect.FullName) proto.Message {
	t.Helper()
	kind, err := protoregistry.GlobalTypes.FindMessageByName(name)
	if err != nil {
		t.Fatalf("the event %s is gone: %v", name, err)
	}
	return kind.New().Interface()
}

// No event and no field of one without a sample: else nothing would notice
// that it is read otherwise one day.
func TestEveryEventHasASample(t *testing.T) {
	for service, file := range eventFiles {
		samples := readSamples(t, service)
		for _, event := range eventsOf(file) {
			missing := missingFields(t, event, samples)
			if len(missing) == 0 {
				continue
			}
			if !*add {
				t.Errorf("%s: no sample of %v; add one with 'go test ./services/ramprow/frozen -add'", event.FullName(), missing)
				continue
			}
			addSamples(t, service, event)
			if missing := missingFields(t, event, readSamples(t, service)); len(missing) > 0 {
				t.Errorf("%s: a sample was added, and %v still has none", event.FullName(), missing)
			}
		}
	}
}

// missingFields lists the fields within an event that none of its samples sets;
// for an event without fields, the event itself.
func missingFields(t *testing.T, event protoreflect.MessageDescriptor, samples []sample) []protoreflect.FullName {
	t.Helper()
	missing := map[protoreflect.FullName]bool{event.FullName(): true}
	reach(event, map[protoreflect.FullName]bool{}, func(f protoreflect.FieldDescriptor) { missing[f.FullName()] = true })
	for _, s := range samples {
		if s.Event != event.FullName() {
			continue
		}
		delete(missing, event.FullName())
		walk(s.read(t).ProtoReflect(), func(m protoreflect.Message) {
			m.Range(func(f protoreflect.FieldDescriptor, _ protoreflect.Value) bool {
				delete(missing, f.FullName())
				return true
			})
		})
	}
	return slices.Sorted(maps.Keys(missing))
}

// addSamples adds as many as it takes to meet every member of every choice.
func addSamples(t *testing.T, service string, event protoreflect.MessageDescriptor) {
	t.Helper()
	variants := 1
	reach(event, map[protoreflect.FullName]bool{}, func(f protoreflect.FieldDescriptor) {
		if choice := f.ContainingOneof(); choice != nil {
			variants = max(variants, choice.Fields().Len())
		}
	})
	file, err := os.OpenFile(samplesFile(service), os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		t.Fatal(err)
	}
	for variant := range variants {
		m := newMessage(t, event.FullName())
		filled(m.ProtoReflect(), variant, map[protoreflect.FullName]int{})
		wire, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		means, err := protojson.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		line, err := json.Marshal(sample{Event: event.FullName(), Wire: wire, Means: means})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := fmt.Fprintf(file, "%s\n", line); err != nil {
			t.Fatal(err)
		}
	}
	if err := file.Close(); err != nil {
		t.Fatal(err)
	}
}

// readLines gives the lines of a file; none if there is no file.
func readLines(t *testing.T, name string, fn func(line []byte)) {
	t.Helper()
	file, err := os.Open(name)
	if os.IsNotExist(err) {
		return
	}
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = file.Close() }()
	lines := bufio.NewScanner(file)
	lines.Buffer(nil, 1<<22)
	for lines.Scan() {
		fn(lines.Bytes())
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
}
