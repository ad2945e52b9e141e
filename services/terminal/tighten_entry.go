package terminal

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"

	"ramprow/internal/engine/fastening"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// entry is what a technician typed for one fastener.
type entry struct {
	torque float64 // newton metres
	given  given   // the torque as it was typed, if in another unit
	angle  float64 // degrees
	moved  bool
}

// given is a torque in a unit other than newton metres.
type given struct {
	value float64
	unit  string
}

// giveTo puts the torque into the fields of a request: as it was typed, or in newton metres.
func (e entry) giveTo(newtonMetres *float64, torque **torqueauditv1.GivenTorque) {
	if e.given.unit == "" {
		*newtonMetres = e.torque
		return
	}
	*torque = &torqueauditv1.GivenTorque{Value: e.given.value, Unit: e.given.unit}
}

// parseEntry reads one line against the stage that is due. An empty line is
// refused: a joint must not be proved by leaning on a key.
func parseEntry(text string, stage *cataloguev1.Stage) (entry, error) {
	rest, moved := strings.CutPrefix(text, "!")
	asked := entry{torque: stage.GetTorqueNm(), angle: stage.GetAngleDeg(), moved: moved}
	fields := strings.Fields(rest)
	switch {
	case moved && len(fields) == 0, len(fields) == 1 && fields[0] == "=":
		return asked, nil
	case len(fields) == 0:
		return entry{}, errors.New("type what the wrench did, or = if it is as asked")
	case len(fields) > 2:
		return entry{}, fmt.Errorf("%q is more than one reading; type newton metres, then degrees", text)
	}
	values := make([]float64, len(fields))
	var as given
	for i, f := range fields {
		v, typed, err := parseAmount(f, i == 0 && asked.torque > 0)
		if err != nil {
			return entry{}, err
		}
		if values[i] = v; i == 0 {
			as = typed
		}
	}
	if len(values) == 2 {
		return entry{torque: values[0], given: as, angle: values[1], moved: moved}, nil
	}
	switch {
	case asked.torque > 0 && asked.angle > 0:
		return entry{}, errors.New("this stage asks for newton metres and degrees: type both, as in 40 91")
	case asked.angle > 0:
		return entry{angle: values[0], moved: moved}, nil
	default:
		return entry{torque: values[0], given: as, moved: moved}, nil
	}
}

// parseAmount reads a figure; a torque may have its unit behind it, as in
// 7.4lbf·ft, and is converted to newton metres and given as it was typed.
func parseAmount(text string, torque bool) (float64, given, error) {
	if v, ok := parseFigure(text); ok {
		return v, given{}, nil
	}
	figure := strings.TrimRightFunc(text, func(r rune) bool { return !unicode.IsDigit(r) })
	v, ok := parseFigure(figure)
	if !ok || !torque || !strings.ContainsFunc(text[len(figure):], unicode.IsLetter) {
		return 0, given{}, fmt.Errorf("%q is no reading; type newton metres, then degrees, as in 9.8 or 40 91", text)
	}
	unit := text[len(figure):]
	nm, err := fastening.ToNewtonMetres(v, unit)
	if err != nil {
		return 0, given{}, fmt.Errorf("%q is no reading: %w", text, err)
	}
	return nm, given{value: v, unit: unit}, nil
}

// parseFigure reads a plain decimal number, with a point or a comma.
func parseFigure(text string) (float64, bool) {
	if strings.Trim(text, "0123456789.,") != "" {
		return 0, false // no signs, exponents or names of numbers
	}
	v, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	return v, err == nil && !math.IsInf(v, 0)
}

// measures tells whether a wrench can show what a stage asks, by its kind and
// its range. The server has the last word.
func measures(w *torqueauditv1.Wrench, stage *cataloguev1.Stage) bool {
	switch w.GetKind() {
	case torqueauditv1.WrenchKind_WRENCH_KIND_SETTING, torqueauditv1.WrenchKind_WRENCH_KIND_INDICATING:
		return stage.GetAngleDeg() == 0 && reaches(w, stage)
	case torqueauditv1.WrenchKind_WRENCH_KIND_TORQUE_ANGLE:
		return reaches(w, stage)
	case torqueauditv1.WrenchKind_WRENCH_KIND_ANGLE:
		return stage.GetTorqueNm() == 0
	case torqueauditv1.WrenchKind_WRENCH_KIND_GUN, torqueauditv1.WrenchKind_WRENCH_KIND_UNSPECIFIED:
	}
	return false
}

// reaches tells whether the whole window of a stage lies in a wrench's range.
func reaches(w *torqueauditv1.Wrench, stage *cataloguev1.Stage) bool {
	nm := stage.GetTorqueNm()
	return nm == 0 || nm-stage.GetTorqueMinusNm() >= w.GetMinNm() && nm+stage.GetTorquePlusNm() <= w.GetMaxNm()
}
