package torqueaudit

import (
	"ramprow/internal/platform/fault"
)

// sheet gives a job's sheet, or the error that brings it back.
func (s *State) sheet(job string) (*sheet, error) {
	if sh := s.sheets[job]; sh != nil {
		return sh, nil
	}
	if f := s.archived(job); f != nil {
		return nil, f
	}
	return nil, noSheet(job)
}

func noSheet(job string) error {
	return fault.New(fault.NotFound, "SHEET_NOT_FOUND", "%s has no tightening audit; it opens when the diagnosis is confirmed", job).
		With("job", job).About("Sheet", job)
}

// open gives a sheet that can still change.
func (s *State) open(job string) (*sheet, error) {
	sh, err := s.sheet(job)
	if err != nil {
		return nil, err
	}
	if sh.void {
		return nil, fault.New(fault.Precondition, "SHEET_VOID", "%s was cancelled and its audit is void; open another job", job).With("job", job)
	}
	return sh, nil
}

// joint gives a joint that the present plan tightens.
func (s *sheet) joint(id string) (*joint, error) {
	j := s.find(id)
	switch {
	case j == nil:
		return nil, noJoint(s.job, id)
	case j.dropped:
		return nil, fault.New(fault.Precondition, "JOINT_DROPPED", "%s is no longer in the plan of %s; have the plan revised if it was taken apart", j.due.GetTitle(), s.job).
			With("joint", id)
	}
	return j, nil
}

// tightenable gives a joint that can take readings now.
func (s *State) tightenable(job, id string) (*sheet, *joint, error) {
	sh, err := s.open(job)
	if err != nil {
		return nil, nil, err
	}
	j, err := sh.joint(id)
	if err != nil {
		return nil, nil, err
	}
	refuse := func(reason, format string, args ...any) error {
		f := fault.New(fault.Precondition, reason, format, args...).With("job", job).With("joint", id)
		return f.WithUnmet(fault.Unmet{Type: reason, Subject: sh.name() + "/joints/" + id, Description: f.Message})
	}
	switch {
	case !j.ready:
		return nil, nil, refuse("JOINT_NOT_READY", "%s is tightened with step %s, which has not begun; start that step first", j.due.GetTitle(), j.due.GetForStep())
	case j.track == nil:
		return nil, nil, refuse("JOINT_UNDETERMINED", "%s cannot be tightened yet: %s", j.due.GetTitle(), j.problem)
	case j.departure != nil:
		return nil, nil, refuse("JOINT_DEPARTED", "a departure was signed for %s; reopen the joint to tighten it after all", j.due.GetTitle())
	}
	return sh, j, nil
}

func (s *State) wrench(name string) (*wrench, error) {
	if w := s.wrenches[name]; w != nil {
		return w, nil
	}
	return nil, noWrench(name)
}

func noWrench(name string) error {
	return fault.New(fault.NotFound, "WRENCH_NOT_FOUND", "%s is not in the register; register it first", name).
		With("wrench", name).About("Wrench", name)
}

func noJoint(job, id string) error {
	return fault.New(fault.NotFound, "JOINT_NOT_FOUND", "the audit of %s has no joint %s; see the sheet for its joints", job, id).
		With("job", job).With("joint", id).About("Joint", id)
}
