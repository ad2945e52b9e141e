package desk

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"

	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
	tracesv1 "ramprow/proto/ramprow/traces/v1"
)

var (
	pageKey = regexp.MustCompile(`\bt "([a-z.]+)"`)
	saidKey = regexp.MustCompile(`\bsay\("([a-z.]+)"`)
	doneKey = regexp.MustCompile(`v\.done\([^\n]*, "([a-z-]+)", `)
)

// Every word that a page asks for is in the catalogue, and the catalogue holds no
// word that nobody asks for: so a second language is complete when it has the same keys.
func TestWordsAreComplete(t *testing.T) {
	w, err := loadWords("en")
	if err != nil {
		t.Fatal(err)
	}
	asked := map[string]bool{}
	for _, text := range contents(t, "*.go") {
		for _, found := range saidKey.FindAllStringSubmatch(text, -1) {
			asked[found[1]] = true
		}
	}
	for _, length := range []string{"", ".short"} {
		asked["date.weekdays"+length], asked["date.months"+length] = true, true
	}
	for _, deed := range []string{"start", "pause", "resume", "finish"} {
		asked["done.step-"+deed] = true
	}
	for _, strand := range strands {
		asked[strand.word] = true
	}
	for pattern, files := range map[string]*regexp.Regexp{"pages/*.html": pageKey, "*.go": doneKey} {
		for _, text := range contents(t, pattern) {
			for _, found := range files.FindAllStringSubmatch(text, -1) {
				key := found[1]
				if pattern == "*.go" {
					key = "done." + key
				}
				asked[key] = true
			}
		}
	}
	for _, e := range []protoreflect.Enum{
		jobv1.JobState(0), jobv1.StepState(0), jobv1.AuditState(0), jobv1.PartsState(0), jobv1.StowState(0),
		jobv1.ReadingMoment(0), jobv1.TestOutcome(0), jobv1.NextAction_Kind(0), jobv1.Stage(0), jobv1.Figure(0),
		torqueauditv1.SheetState(0), torqueauditv1.JointState(0), torqueauditv1.Verdict(0), torqueauditv1.RecheckState(0),
		schedulingv1.BookingState(0), schedulingv1.BlockKind(0), schedulingv1.ResourceKind(0), inventoryv1.OrderState(0), inventoryv1.MovementKind(0), inventoryv1.CountCause(0), inventoryv1.ReturnKind(0), inventoryv1.ReturnState(0),
		commonv1.Role(0), commonv1.Unit(0), tracesv1.SpanKind(0),
	} {
		values := e.Descriptor().Values()
		for i := range values.Len() {
			if values.Get(i).Number() != 0 {
				asked[enumKey(values.Get(i))] = true
			}
		}
	}
	for key := range asked {
		if _, ok := w[key]; !ok {
			t.Errorf("no word for %s", key)
		}
	}
	for _, key := range w.keys() {
		if !asked[key] {
			t.Errorf("nobody asks for %s", key)
		}
	}
}

func contents(t *testing.T, pattern string) []string {
	t.Helper()
	files, err := filepath.Glob(pattern)
	if err != nil || len(files) == 0 {
		t.Fatalf("no files like %s: %v", pattern, err)
	}
	var texts []string
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		texts = append(texts, string(data))
	}
	return texts
}
