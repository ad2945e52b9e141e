package fastening

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// number writes a value with at most three decimals and none that say nothing.
func number(v float64) string {
	s := strconv.FormatFloat(v, 'f', 3, 64)
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}

func day(t time.Time) string { return t.UTC().Format("2 January 2006") }

func clock(t time.Time) string { return t.UTC().Format("15:04 MST on 2 January") }

// list joins words as in 'a, b and c'.
func list(words []string, last string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " " + last + " " + words[len(words)-1]
}

// bolts names fasteners as in 'bolts 3 and 8'.
func bolts(fasteners []int) string {
	words := make([]string, len(fasteners))
	for i, f := range fasteners {
		words[i] = strconv.Itoa(f)
	}
	if len(words) == 1 {
		return "bolt " + words[0]
	}
	return "bolts " + list(words, "and")
}

// say tells what a stage asks of a fastener.
func (s Stage) say() string {
	switch s.Kind {
	case Torque:
		return s.window("N·m", s.Torque)
	case Check:
		return "check that it does not move at " + s.window("N·m", s.Torque)
	case Angle:
		text := "turn on by " + s.window("degrees", s.Angle)
		if s.TorqueFloor > 0 {
			text += fmt.Sprintf(", reaching at least %s N·m", number(s.TorqueFloor))
		}
		return text
	case BackOff:
		if s.Angle.Target == 0 {
			return "release fully"
		}
		return "release by " + number(s.Angle.Target) + " degrees"
	case Wait:
		return "wait " + s.Wait.String()
	default:
		return "unknown stage"
	}
}

func (s Stage) window(unit string, w Window) string {
	return fmt.Sprintf("%s %s (%s to %s)", number(w.Target), unit, number(w.Low()), number(w.High()))
}

// ordinal names a round.
func ordinal(n int) string {
	if names := []string{"first", "second", "third", "fourth", "fifth"}; n >= 1 && n <= len(names) {
		return names[n-1]
	}
	return strconv.Itoa(n) + "th"
}

func sorted(fasteners []int) []int { return slices.Sorted(slices.Values(fasteners)) }

// String says what the stage asks of a fastener, as in '10 N·m (9 to 11)'.
func (s Stage) String() string { return s.say() }

// String names the rule as it is printed.
func (rule Rule) String() string {
	if rule == Simple {
		return "simple acceptance: any value inside the window counts, at the risk shown"
	}
	return "guarded acceptance: only a value proved inside the window counts (ISO 14253-1)"
}
