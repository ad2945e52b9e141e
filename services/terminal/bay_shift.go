package terminal

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// weekdays as they are typed, Monday first.
func weekdays() []string { return []string{"mon", "tue", "wed", "thu", "fri", "sat", "sun"} }

// shiftWords writes days of the same hours as one run, as in mon-fri 08:00-16:30.
func shiftWords(shifts []*schedulingv1.Shift) []string {
	var words []string
	for len(shifts) > 0 {
		first, n := shifts[0], 1
		for n < len(shifts) && shifts[n].GetWeekday() == first.GetWeekday()+uint32(n) &&
			shifts[n].GetFromMinute() == first.GetFromMinute() && shifts[n].GetToMinute() == first.GetToMinute() {
			n++
		}
		days := dayWord(first.GetWeekday())
		if n > 1 {
			days += "-" + dayWord(shifts[n-1].GetWeekday())
		}
		words = append(words, fmt.Sprintf("%s %s-%s", days, minuteWord(first.GetFromMinute()), minuteWord(first.GetToMinute())))
		shifts = shifts[n:]
	}
	return words
}

func dayWord(weekday uint32) string {
	if weekday < 1 || int(weekday) > len(weekdays()) {
		return fmt.Sprintf("day %d", weekday)
	}
	return weekdays()[weekday-1]
}

func minuteWord(m uint32) string { return fmt.Sprintf("%02d:%02d", m/60, m%60) }

// parseShift reads DAYS=HH:MM-HH:MM, as in mon-fri=08:00-16:30 or sat=09:00-12:00.
func parseShift(text string) ([]*schedulingv1.Shift, error) {
	bad := fmt.Errorf("%q is no shift; write it as in mon-fri=08:00-16:30", text)
	days, hours, ok := strings.Cut(text, "=")
	from, to, ok2 := strings.Cut(hours, "-")
	start, ok3 := parseMinute(from)
	end, ok4 := parseMinute(to)
	first, last, isRange := strings.Cut(days, "-")
	if !isRange {
		last = first
	}
	a, b := weekday(first), weekday(last)
	if !ok || !ok2 || !ok3 || !ok4 || start >= end || a == 0 || b < a {
		return nil, bad
	}
	var shifts []*schedulingv1.Shift
	for d := a; d <= b; d++ {
		shifts = append(shifts, &schedulingv1.Shift{Weekday: d, FromMinute: start, ToMinute: end})
	}
	return shifts, nil
}

// weekday gives 1 for mon; 0 for what is none.
func weekday(text string) uint32 {
	for i, d := range weekdays() {
		if d == text {
			return uint32(i) + 1
		}
	}
	return 0
}

// parseMinute reads HH:MM; 24:00 ends a day.
func parseMinute(text string) (uint32, bool) {
	hours, minutes, ok := strings.Cut(text, ":")
	h, err := strconv.ParseUint(hours, 10, 8)
	m, err2 := strconv.ParseUint(minutes, 10, 8)
	total := uint32(h*60 + m)
	return total, ok && err == nil && err2 == nil && len(minutes) == 2 && m < 60 && total <= 24*60
}

// parseSkill reads a skill, or one with its end as in refrigerant until 2027-01-31.
// A licence is good for the whole of its last day.
func parseSkill(text string, now time.Time) (*schedulingv1.Qualification, error) {
	name, until, ends := strings.Cut(text, " until ")
	q := &schedulingv1.Qualification{Skill: strings.TrimSpace(name)}
	if !ends {
		return q, nil
	}
	day, err := parseDay(strings.TrimSpace(until), now)
	if err != nil {
		return nil, fmt.Errorf("--skill %q: %w", text, err)
	}
	q.Expires = timestamppb.New(day.AddDate(0, 0, 1))
	return q, nil
}
