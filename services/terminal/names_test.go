package terminal

import (
	"fmt"
	"strings"
	"testing"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

func TestJobNames(t *testing.T) {
	for _, text := range []string{"17", "jobs/17"} {
		if got, err := jobName(text); err != nil || got != "jobs/17" {
			t.Errorf("%q: %q, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "0", "-1", "jobs/", "orders/17", "17a", "jobs/jobs/17", "99999999999"} {
		if got, err := jobName(text); err == nil {
			t.Errorf("%q was taken as %q", text, got)
		}
	}
}

func TestCodes(t *testing.T) {
	for text, want := range map[string]string{
		"P0304":        `code:"P0304"`,
		"P0304:2F":     `code:"P0304" status:47`,
		"P0304:0x2f:9": `code:"P0304" status:47 failure_type:9`,
		"0x2A10:00":    `code:"0x2A10" status:0`,
	} {
		got, err := parseCode(text)
		if err != nil || strings.Join(strings.Fields(got.String()), " ") != want {
			t.Errorf("%q: %v, %v; want %s", text, got, err, want)
		}
	}
	for _, text := range []string{"", ":2F", "P0304:", "P0304:1FF", "P0304:-1", "P0304:2F:00:1", "P0304:zz"} {
		if got, err := parseCode(text); err == nil {
			t.Errorf("%q was taken as %v", text, got)
		}
	}
}

func FuzzParseCode(f *testing.F) {
	f.Add("P0304:2F:00")
	f.Add("0x2A10")
	f.Fuzz(func(t *testing.T, text string) {
		code, err := parseCode(text)
		if err != nil {
			return
		}
		written := code.GetCode()
		if code.Status != nil {
			written += fmt.Sprintf(":%X", code.GetStatus())
		}
		if code.FailureType != nil {
			written += fmt.Sprintf(":%X", code.GetFailureType())
		}
		if again, err := parseCode(written); err != nil || again.String() != code.String() {
			t.Errorf("%q: %v, then %v, %v", text, code, again, err)
		}
	})
}

func TestCounts(t *testing.T) {
	if part, n, err := parseCount("MO-4212:16"); err != nil || part != "MO-4212" || n != 16 {
		t.Errorf("%q %d %v", part, n, err)
	}
	for _, text := range []string{"", "MO-4212", ":3", "MO-4212:", "MO-4212:-3", "MO-4212:1.5", "MO-4212:x"} {
		if _, _, err := parseCount(text); err == nil {
			t.Errorf("%q was taken", text)
		}
	}
}

func TestShifts(t *testing.T) {
	got, err := parseShift("mon-fri=08:00-16:30")
	if err != nil || len(got) != 5 || got[4].GetWeekday() != 5 || got[0].GetFromMinute() != 480 || got[0].GetToMinute() != 990 {
		t.Errorf("%v, %v", got, err)
	}
	if got, err := parseShift("sat=09:00-24:00"); err != nil || len(got) != 1 || got[0].GetWeekday() != 6 || got[0].GetToMinute() != 1440 {
		t.Errorf("%v, %v", got, err)
	}
	for _, text := range []string{"", "mon", "mon=8", "fri-mon=08:00-16:00", "mon=16:00-08:00", "mon=08:00-24:01", "xyz=08:00-09:00", "mon=08:0-09:00", "mon=08:60-09:00"} {
		if got, err := parseShift(text); err == nil {
			t.Errorf("%q was taken as %v", text, got)
		}
	}
}

func TestWordsAreTypedAsTheyAreListed(t *testing.T) {
	for _, text := range choices[jobv1.FindingKind]() {
		kind, err := choose[jobv1.FindingKind]("KIND", text)
		if err != nil || strings.ReplaceAll(word(kind), " ", "-") != text {
			t.Errorf("%q: %v, %v", text, kind, err)
		}
	}
	if got := word(jobv1.JobState_JOB_STATE_IN_WORK); got != "in work" {
		t.Errorf("%q", got)
	}
	if got := word(jobv1.JobState(99)); got != "number 99" {
		t.Errorf("%q", got)
	}
	if got := word(jobv1.NextAction_KIND_OPEN); got != "open" {
		t.Errorf("%q", got)
	}
	_, err := choose[jobv1.TestOutcome]("OUTCOME", "unspecified")
	if err == nil || err.Error() != `OUTCOME "unspecified" is unknown; use one of positive, negative` {
		t.Errorf("%v", err)
	}
}
