package terminal

import (
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // a machine without zone files tests the same

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	commonv1 "ramprow/proto/ramprow/common/v1"
)

// now is a Saturday, the day before the clocks go forward in Berlin: on the
// last Sunday of March at 01:00 UTC (Directive 2000/84/EC, article 2).
func now(t testing.TB) time.Time {
	t.Helper()
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	return time.Date(2026, 3, 28, 14, 30, 0, 0, berlin)
}

func TestParseTime(t *testing.T) {
	for text, want := range map[string]string{
		"08:00":                     "2026-03-28T08:00:00+01:00",
		"today 8:05":                "2026-03-28T08:05:00+01:00",
		"tomorrow 08:00":            "2026-03-29T08:00:00+02:00",
		"tomorrow":                  "2026-03-29T00:00:00+01:00",
		"2026-07-01":                "2026-07-01T00:00:00+02:00",
		"2026-07-01 16:45":          "2026-07-01T16:45:00+02:00",
		"2026-07-01T16:45:00Z":      "2026-07-01T16:45:00Z",
		"2026-07-01T16:45:00-05:00": "2026-07-01T16:45:00-05:00",
		"now":                       "2026-03-28T14:30:00+01:00",
		" 08:00 ":                   "2026-03-28T08:00:00+01:00",
	} {
		got, err := parseTime(text, now(t))
		if err != nil || got.Format(time.RFC3339) != want {
			t.Errorf("%q: %s, %v; want %s", text, got.Format(time.RFC3339), err, want)
		}
	}
}

func TestBadTimesAreRefused(t *testing.T) {
	for text, word := range map[string]string{
		"":                     "no time",
		"soon":                 "no time",
		"25:00":                "no clock time",
		"08:60":                "no clock time",
		"tomorrow at eight":    "no clock time",
		"2026-02-30":           "no time",
		"tomorrow 02:30":       "does not exist",
		"0000-01-01":           "no time",
		"0000-01-01T00:00:00Z": "before all calendars",
	} {
		if got, err := parseTime(text, now(t)); err == nil || !strings.Contains(err.Error(), word) {
			t.Errorf("%q: %v, %v; want %q", text, got, err, word)
		}
	}
}

func TestIntervalsEndAfterTheyBegin(t *testing.T) {
	if _, err := parseInterval("09:00", "09:00", now(t)); err == nil {
		t.Error("an empty interval was taken")
	}
	got, err := parseInterval("09:00", "tomorrow 09:00", now(t))
	if err != nil || got.GetEnd().AsTime().Sub(got.GetStart().AsTime()) != 23*time.Hour { // the night is an hour short
		t.Errorf("%v, %v", got, err)
	}
}

func TestParseDuration(t *testing.T) {
	for text, want := range map[string]time.Duration{"12m": 12 * time.Minute, "1h30m": 90 * time.Minute, "0s": 0, "1.5h": 90 * time.Minute} {
		if got, err := parseDuration(text); err != nil || got.AsDuration() != want {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "12", "-5m", "12 min", "1d", "999999999h"} {
		if got, err := parseDuration(text); err == nil {
			t.Errorf("%q was taken as %v", text, got)
		}
	}
}

func TestSpan(t *testing.T) {
	for want, d := range map[string]time.Duration{
		"0 min": 0, "1 min": 30 * time.Second, "59 min": 59 * time.Minute, "1 h": time.Hour, "4 h 05 min": 245 * time.Minute, "-12 min": -12 * time.Minute,
	} {
		if got := span(durationpb.New(d)); got != want {
			t.Errorf("%s: %q, want %q", d, got, want)
		}
	}
	if span(nil) != "" {
		t.Error("no duration is written as one")
	}
}

func TestTimesAreWrittenAsNearAsTheyAre(t *testing.T) {
	for text, want := range map[string]string{
		"2026-03-28T15:00:00Z": "16:00",
		"2026-03-29T06:00:00Z": "tomorrow 08:00",
		"2026-04-02T06:00:00Z": "Thu 2 Apr 08:00",
		"2027-01-02T07:00:00Z": "2 Jan 2027 08:00",
	} {
		moment, err := time.Parse(time.RFC3339, text)
		if err != nil {
			t.Fatal(err)
		}
		if got := at(timestamppb.New(moment), now(t)); got != want {
			t.Errorf("%s: %q, want %q", text, got, want)
		}
	}
	morning := now(t).Add(-6 * time.Hour)
	for end, want := range map[time.Time]string{now(t): "08:30–14:30", now(t).AddDate(0, 0, 1): "08:30 – tomorrow 14:30"} {
		i := &commonv1.Interval{Start: timestamppb.New(morning), End: timestamppb.New(end)}
		if got := during(i, now(t)); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func FuzzParseTime(f *testing.F) {
	for _, seed := range []string{"08:00", "tomorrow 08:00", "2026-07-01 8:00", "2026-07-01T16:45:00Z", "now", "today  1:2"} {
		f.Add(seed)
	}
	moment := now(f)
	f.Fuzz(func(t *testing.T, text string) {
		got, err := parseTime(text, moment)
		if err != nil {
			return
		}
		again, err := parseTime(got.Format(time.RFC3339Nano), moment)
		if err != nil || !again.Equal(got) {
			t.Errorf("%q: %s, then %s, %v", text, got, again, err)
		}
	})
}

func FuzzParseDuration(f *testing.F) {
	f.Add("12m")
	f.Add("1h30m")
	f.Fuzz(func(t *testing.T, text string) {
		if d, err := parseDuration(text); err == nil && (d.AsDuration() < 0 || d.CheckValid() != nil) {
			t.Errorf("%q: %v", text, d)
		}
	})
}
