package terminal

import (
	"fmt"
	"strconv"
	"strings"

	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// numbered reads jobs/17 or just 17.
func numbered(collection, what, text string) (string, error) {
	digits := strings.TrimPrefix(text, collection+"/")
	n, err := strconv.ParseUint(digits, 10, 32)
	if err != nil || n == 0 {
		return "", fmt.Errorf("%q is no %s; write its number, as in 17 or %s/17", text, what, collection)
	}
	return fmt.Sprintf("%s/%d", collection, n), nil
}

func jobName(text string) (string, error)   { return numbered("jobs", "job", text) }
func orderName(text string) (string, error) { return numbered("orders", "order", text) }

// inCollection puts a bare identifier into its collection; none stays none.
func inCollection(collection, text string) string {
	if text == "" || strings.Contains(text, "/") {
		return text
	}
	return collection + "/" + text
}

// number is the last part of a name, as people type it.
func number(name string) string { return name[strings.LastIndex(name, "/")+1:] }

// parseCode reads CODE[:STATUS[:FTB]], the bytes of ISO 14229 in hexadecimal.
func parseCode(text string) (*jobv1.CodeReading, error) {
	parts := strings.Split(text, ":")
	if len(parts) > 3 || parts[0] == "" {
		return nil, fmt.Errorf("%q is no code; write CODE, CODE:STATUS or CODE:STATUS:FTB, as in P0304:2F:00", text)
	}
	code := &jobv1.CodeReading{Code: parts[0]}
	targets := []**uint32{&code.Status, &code.FailureType}
	for i, part := range parts[1:] {
		value, err := strconv.ParseUint(strings.TrimPrefix(part, "0x"), 16, 8)
		if err != nil {
			return nil, fmt.Errorf("%q in %q is no byte; write two hexadecimal digits, as in P0304:2F:00", part, text)
		}
		b := uint32(value)
		*targets[i] = &b
	}
	return code, nil
}

// parseCount reads THING:QUANTITY.
func parseCount(text string) (thing string, quantity int64, err error) {
	thing, digits, ok := strings.Cut(text, ":")
	quantity, err = strconv.ParseInt(digits, 10, 64)
	if !ok || thing == "" || err != nil || quantity < 0 {
		return "", 0, fmt.Errorf("%q is no quantity of a part; write it as in MO-4212:16", text)
	}
	return thing, quantity, nil
}

// parseQuantity reads a whole number of the smallest unit.
func parseQuantity(text string) (int64, error) {
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil || n < 0 {
		return 0, fmt.Errorf("%q is no quantity; write a whole number of the part's unit (pieces, ml, g or mm)", text)
	}
	return n, nil
}

// parseSmall reads a count of things at a car.
func parseSmall(what, text string) (uint32, error) {
	n, err := strconv.ParseUint(text, 10, 16)
	if err != nil {
		return 0, fmt.Errorf("%s %q is no number; write it as in 3", what, text)
	}
	return uint32(n), nil
}

// unit is the sign of a unit.
func unit(u commonv1.Unit) string {
	return map[commonv1.Unit]string{
		commonv1.Unit_UNIT_PIECE: "pc", commonv1.Unit_UNIT_MILLILITRE: "ml",
		commonv1.Unit_UNIT_GRAM: "g", commonv1.Unit_UNIT_MILLIMETRE: "mm",
	}[u]
}

// quantity writes a figure with its unit.
func quantity(n int64, u commonv1.Unit) string {
	return strings.TrimSpace(fmt.Sprintf("%d %s", n, unit(u)))
}

func figures[N int64 | uint32 | uint64](n N) string { return fmt.Sprintf("%d", n) }

// plural writes a count with its noun.
func plural[N int | int64 | uint32](n N, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
