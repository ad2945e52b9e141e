package terminal

import (
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	commonv1 "ramprow/proto/ramprow/common/v1"
)

const (
	timeWords = "write 08:00, today 08:00, tomorrow 08:00, 2026-07-01, 2026-07-01 08:00 or RFC 3339"
	dayLayout = "2006-01-02"
)

// parseTime reads a time as people type it, in the place of now.
func parseTime(text string, now time.Time) (time.Time, error) {
	text = strings.TrimSpace(text)
	if at, err := time.Parse(time.RFC3339, text); err == nil {
		if at.Year() < 1 {
			return time.Time{}, fmt.Errorf("%q is before all calendars; %s", text, timeWords)
		}
		return at, nil
	}
	if text == "now" {
		return now, nil
	}
	day, clock, both := strings.Cut(text, " ")
	if !both && strings.Contains(text, ":") {
		day, clock = "today", text
	}
	date, err := parseDay(day, now)
	if err != nil {
		return time.Time{}, fmt.Errorf("%q is no time; %s", text, timeWords)
	}
	if clock = strings.TrimSpace(clock); clock == "" {
		return date, nil
	}
	return atClock(date, clock)
}

// parseDay gives the start of a day.
func parseDay(text string, now time.Time) (time.Time, error) {
	year, month, day := now.Date()
	switch text {
	case "today":
		return time.Date(year, month, day, 0, 0, 0, 0, now.Location()), nil
	case "tomorrow":
		return time.Date(year, month, day+1, 0, 0, 0, 0, now.Location()), nil
	}
	date, err := time.ParseInLocation(dayLayout, text, now.Location())
	if err != nil || date.Year() < 1 {
		return time.Time{}, fmt.Errorf("%q is no day; write today, tomorrow or 2026-07-01", text)
	}
	return date, nil
}

// atClock puts a clock time on a day. An hour that summer time skips is refused
// rather than moved.
func atClock(day time.Time, text string) (time.Time, error) {
	clock, err := time.Parse("15:04", text)
	if err != nil {
		return time.Time{}, fmt.Errorf("%q is no clock time; %s", text, timeWords)
	}
	year, month, date := day.Date()
	at := time.Date(year, month, date, clock.Hour(), clock.Minute(), 0, 0, day.Location())
	if at.Hour() != clock.Hour() || at.Minute() != clock.Minute() {
		return time.Time{}, fmt.Errorf("%s does not exist on %s: the clocks go forward", text, at.Format(dayLayout))
	}
	return at, nil
}

// optionalTime is parseTime for a flag that may be left out.
func optionalTime(flag, text string, now time.Time) (*timestamppb.Timestamp, error) {
	if text == "" {
		return nil, nil //nolint:nilnil // absent is a value of its own on the wire
	}
	at, err := parseTime(text, now)
	if err != nil {
		return nil, fmt.Errorf("--%s: %w", flag, err)
	}
	return timestamppb.New(at), nil
}

// parseInterval reads --from and --to.
func parseInterval(from, to string, now time.Time) (*commonv1.Interval, error) {
	start, err := optionalTime("from", from, now)
	if err != nil {
		return nil, err
	}
	end, err := optionalTime("to", to, now)
	if err != nil {
		return nil, err
	}
	if !end.AsTime().After(start.AsTime()) {
		return nil, fmt.Errorf("--to %s is not after --from %s", to, from)
	}
	return &commonv1.Interval{Start: start, End: end}, nil
}

// parseDuration reads a span, as in 12m or 1h30m.
func parseDuration(text string) (*durationpb.Duration, error) {
	d, err := time.ParseDuration(text)
	if err != nil || d < 0 {
		return nil, fmt.Errorf("%q is no duration; write it as in 12m or 1h30m", text)
	}
	return durationpb.New(d), nil
}

// span writes a duration to the minute, as in 4 h 20 min.
func span(d *durationpb.Duration) string {
	if d == nil {
		return ""
	}
	minutes := int64(d.AsDuration().Round(time.Minute) / time.Minute)
	sign := ""
	if minutes < 0 {
		sign, minutes = "-", -minutes
	}
	switch hours := minutes / 60; {
	case hours == 0:
		return fmt.Sprintf("%s%d min", sign, minutes)
	case minutes%60 == 0:
		return fmt.Sprintf("%s%d h", sign, hours)
	default:
		return fmt.Sprintf("%s%d h %02d min", sign, hours, minutes%60)
	}
}

// at writes a time as near as it is: the clock alone for today.
func at(t *timestamppb.Timestamp, now time.Time) string {
	if t == nil {
		return ""
	}
	local := t.AsTime().In(now.Location())
	day := func(t time.Time) string { return t.Format(dayLayout) }
	switch {
	case day(local) == day(now):
		return local.Format("15:04")
	case day(local) == day(now.AddDate(0, 0, 1)):
		return local.Format("tomorrow 15:04")
	case local.Year() == now.Year():
		return local.Format("Mon 2 Jan 15:04")
	default:
		return local.Format("2 Jan 2006 15:04")
	}
}

// during writes an interval.
func during(i *commonv1.Interval, now time.Time) string {
	if i == nil {
		return ""
	}
	start, end := i.GetStart().AsTime().In(now.Location()), i.GetEnd().AsTime().In(now.Location())
	if start.Format(dayLayout) == end.Format(dayLayout) {
		return at(i.GetStart(), now) + "–" + end.Format("15:04")
	}
	return at(i.GetStart(), now) + " – " + at(i.GetEnd(), now)
}
