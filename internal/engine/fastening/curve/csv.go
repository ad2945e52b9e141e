package curve

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// MaxSamples bounds what one file may hold.
const MaxSamples = 5_000_000

// ReadCSV reads lines of angle in degrees and torque in N·m, separated by a
// comma, a semicolon or a tab. A first line that is no numbers is a heading;
// empty lines are skipped. With a semicolon or tab, a decimal comma is
// understood. The error is a *DataError, whose sample is the line's number, or
// the reader's.
func ReadCSV(r io.Reader) ([]Sample, error) {
	var samples []Sample
	lines := bufio.NewScanner(r)
	for n := 1; lines.Scan(); n++ {
		text := strings.TrimSpace(strings.TrimPrefix(lines.Text(), "\uFEFF"))
		if text == "" {
			continue
		}
		p, ok := parseLine(text)
		switch {
		case ok && len(samples) == MaxSamples:
			return nil, &DataError{Sample: n, Problem: fmt.Sprintf("a curve has at most %d samples", MaxSamples)}
		case ok:
			samples = append(samples, p)
		case n > 1:
			return nil, &DataError{Sample: n, Problem: "expected angle and torque, as in 12.5,8.3"}
		}
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("read the curve: %w", err)
	}
	return samples, validate(samples)
}

func parseLine(text string) (Sample, bool) {
	separator := ","
	for _, s := range []string{";", "\t"} {
		if strings.Contains(text, s) {
			separator = s
			break
		}
	}
	angle, torque, found := strings.Cut(text, separator)
	if !found {
		return Sample{}, false
	}
	if separator != "," {
		angle, torque = strings.Replace(angle, ",", ".", 1), strings.Replace(torque, ",", ".", 1)
	}
	a, errA := strconv.ParseFloat(strings.TrimSpace(angle), 64)
	t, errT := strconv.ParseFloat(strings.TrimSpace(torque), 64)
	return Sample{a, t}, errA == nil && errT == nil
}
