package torqueaudit

import "ramprow/internal/platform/fault"

// What one sheet holds at most. Evidence is never dropped to make room, so what
// comes beyond is refused: far more than a real joint ever needs.
const (
	maxCurvesPerFastener    = 8
	maxCurvesPerSheet       = 1000
	maxResidualsPerFastener = 50
	maxResidualsPerSheet    = 5000
	maxReadingsPerSheet     = 50_000
	maxTriesPerFastener     = 20 // of one re-check
	maxRenewals             = 100
)

func full(reason, format string, args ...any) *fault.Error {
	return fault.New(fault.Precondition, reason, format, args...)
}

// countOf counts what a sheet's joints hold.
func (s *sheet) countOf(of func(*joint) int) int {
	n := 0
	for _, j := range s.joints {
		n += of(j)
	}
	return n
}

// roomForCurve refuses what would be one curve too many.
func (s *sheet) roomForCurve(j *joint, fastener uint32) error {
	n := 0
	for _, c := range j.curves {
		if c.GetFastener() == fastener {
			n++
		}
	}
	switch {
	case n >= maxCurvesPerFastener:
		return full("CURVES_FULL", "bolt %d of %s has %d curves already and keeps no more; none is dropped for a new one, so keep the file", fastener, j.due.GetTitle(), n).
			With("joint", j.due.GetJoint())
	case s.countOf(func(j *joint) int { return len(j.curves) }) >= maxCurvesPerSheet:
		return full("CURVES_FULL", "the sheet of %s has %d curves already and keeps no more; none is dropped for a new one, so keep the file", s.job, maxCurvesPerSheet)
	}
	return nil
}

// roomForResidual refuses what would be one check of a tight fastener too many.
func (s *sheet) roomForResidual(j *joint, fastener uint32) error {
	n := 0
	for _, r := range j.residuals {
		if r.GetFastener() == fastener {
			n++
		}
	}
	switch {
	case n >= maxResidualsPerFastener:
		return full("RESIDUALS_FULL", "bolt %d of %s was checked %d times already, and each check wears it; reopen the joint and tighten it anew", fastener, j.due.GetTitle(), n).
			With("joint", j.due.GetJoint())
	case s.countOf(func(j *joint) int { return len(j.residuals) }) >= maxResidualsPerSheet:
		return full("RESIDUALS_FULL", "the sheet of %s has %d checks of tight fasteners already and keeps no more", s.job, maxResidualsPerSheet)
	}
	return nil
}

// roomForReading refuses what a tool that repeats itself would send for ever.
func (s *sheet) roomForReading() error {
	if s.readings >= maxReadingsPerSheet {
		return full("READINGS_FULL", "the sheet of %s has %d readings already and keeps no more; find out what sends them", s.job, s.readings)
	}
	return nil
}
