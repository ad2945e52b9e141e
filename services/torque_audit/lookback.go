package torqueaudit

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// lookBack lists every joint that a wrench tightened since it was last known
// good and opens the audits again, closed jobs included: a tool found out puts
// all of them in doubt (ISO 9001:2015 7.1.5.2, from memory).
func (s *State) lookBack(w *wrench, failed *pb.WrenchCheck) []proto.Message {
	good := w.lastGood()
	made := &pb.LookBack{
		Name: lookBackName(s.made + 1), Wrench: w.tool.GetName(), WrenchTitle: w.tool.GetTitle(),
		FailedAt: failed.GetAt(), GoodAt: stamp(good), TargetNm: failed.GetTargetNm(), MeasuredNm: failed.GetMeasuredNm(), CheckedBy: failed.GetBy(),
	}
	events := []proto.Message{&pb.LookBackMade{LookBack: made}}
	for _, sh := range s.inOrder() {
		lines := sh.inDoubt(w.tool.GetName(), good)
		made.Lines = append(made.Lines, lines...)
		var joints []string
		for _, l := range lines {
			if l.GetCannotReopen() == "" {
				joints = append(joints, l.GetJoint())
			}
		}
		if len(joints) > 0 {
			events = append(events, &pb.SheetReopened{
				Job: sh.job, PlanRevision: sh.revision, Joints: joints,
				Reason: fmt.Sprintf("to be checked again: %s failed its check on %s and was last known good %s",
					w.tool.GetTitle(), date(failed.GetAt().AsTime()), since(good)),
			})
		}
	}
	return events
}

func date(t time.Time) string { return t.UTC().Format("2 January 2006") }

func since(good time.Time) string {
	if good.IsZero() {
		return "never"
	}
	return "on " + date(good)
}

// inDoubt gives the joints of a sheet that rest on readings of a wrench after a
// time. A departure is no refuge: the bolts that could be measured rest on them too.
func (s *sheet) inDoubt(wrench string, after time.Time) []*pb.LookBackLine {
	var lines []*pb.LookBackLine
	for _, j := range s.joints {
		line := &pb.LookBackLine{
			Job: s.job, Vehicle: s.vehicle, Customer: s.customer, Joint: j.due.GetJoint(), Title: j.due.GetTitle(), WasComplete: s.complete,
		}
		for _, r := range j.restsOn() {
			if r.GetWrench() != wrench || !stands(r) || !r.GetAt().AsTime().After(after) {
				continue
			}
			line.Readings++
			line.FirstAt, line.LastAt = earlier(line.GetFirstAt(), r.GetAt()), later(line.GetLastAt(), r.GetAt())
		}
		if line.GetReadings() == 0 {
			continue
		}
		switch {
		case s.void:
			line.CannotReopen = "the job was cancelled"
		case j.dropped:
			line.CannotReopen = "the plan no longer has this joint"
		}
		lines = append(lines, line)
	}
	return lines
}

// restsOn gives the readings on which a joint rests: those of its tightening,
// and those that found it at rest again afterwards.
func (j *joint) restsOn() []*pb.Reading {
	readings := slices.Clip(j.readings[j.from:])
	for _, r := range j.rechecks[j.recheckFrom:] {
		readings = append(readings, r.GetReadings()...)
	}
	return readings
}

func earlier(a, b *timestamppb.Timestamp) *timestamppb.Timestamp {
	if a == nil || b.AsTime().Before(a.AsTime()) {
		return b
	}
	return a
}

func later(a, b *timestamppb.Timestamp) *timestamppb.Timestamp {
	if a == nil || b.AsTime().After(a.AsTime()) {
		return b
	}
	return a
}

// inOrder gives the sheets by job number.
func (s *State) inOrder() []*sheet {
	sheets := make([]*sheet, 0, len(s.sheets))
	for _, sh := range s.sheets {
		sheets = append(sheets, sh)
	}
	slices.SortFunc(sheets, func(a, b *sheet) int { return cmp.Compare(a.number(), b.number()) })
	return sheets
}

// stands tells whether a joint may rest on a reading.
func stands(r *pb.Reading) bool { return r.GetCounts() && r.GetCorrectedBy() == 0 }

// lastGood is when a wrench passed a check or calibration last, in the order in
// which they were recorded; zero: never.
func (w *wrench) lastGood() time.Time {
	for _, c := range slices.Backward(w.checks) {
		if c.GetPassed() {
			return c.GetAt().AsTime()
		}
	}
	return time.Time{}
}

// noteLookBack keeps a look-back and finds it by its jobs.
func (s *State) noteLookBack(l *pb.LookBack) {
	s.lookBacks[l.GetName()] = lookBack{doc: l}
	for _, line := range l.GetLines() {
		if names := s.doubted[line.GetJob()]; !slices.Contains(names, l.GetName()) {
			s.doubted[line.GetJob()] = append(slices.Clip(names), l.GetName())
		}
	}
}

// undoubt forgets that a look-back names a job.
func (s *State) undoubt(job, name string) {
	names := slices.DeleteFunc(slices.Clone(s.doubted[job]), func(n string) bool { return n == name })
	if s.doubted[job] = names; len(names) == 0 {
		delete(s.doubted, job)
	}
}

func (s *State) seeLookBack(name, by string, at time.Time) {
	l := s.lookBacks[name]
	l.doc = seen(l.doc, by, at)
	s.lookBacks[name] = l
}

func seen(l *pb.LookBack, by string, at time.Time) *pb.LookBack {
	l = proto.CloneOf(l)
	l.SeenBy, l.SeenAt = by, timestamppb.New(at)
	return l
}

// renderLookBack shows where each of its joints stands now.
func (s *State) renderLookBack(kept lookBack) *pb.LookBack {
	if kept.settled {
		return kept.doc
	}
	l := proto.CloneOf(kept.doc)
	for _, line := range l.GetLines() {
		sh := s.sheets[line.GetJob()]
		if sh == nil {
			continue
		}
		if j := sh.find(line.GetJoint()); j != nil {
			line.Now = j.state()
			if line.GetCannotReopen() == "" && !sh.void && !j.settled() && !j.dropped {
				l.Open++
			}
		}
	}
	return l
}

func decideLookBackSeen(st *State, in sitelog.Input, req *pb.MarkLookBackSeenRequest) ([]proto.Message, *pb.MarkLookBackSeenResponse, error) {
	if f := st.archived(req.GetLookBack()); f != nil {
		return nil, nil, f
	}
	l, ok := st.lookBacks[req.GetLookBack()]
	if !ok {
		return nil, nil, fault.New(fault.NotFound, "LOOK_BACK_NOT_FOUND", "there is no %s; see the list of look-backs", req.GetLookBack()).
			About("LookBack", req.GetLookBack())
	}
	if by := l.doc.GetSeenBy(); by != "" {
		return nil, nil, fault.New(fault.Precondition, "LOOK_BACK_SEEN", "%s was seen by %s already", req.GetLookBack(), by)
	}
	resp := &pb.MarkLookBackSeenResponse{LookBack: st.renderLookBack(lookBack{doc: seen(l.doc, in.Actor.Person, in.Now)})}
	return []proto.Message{&pb.LookBackSeen{LookBack: req.GetLookBack(), By: in.Actor.Person}}, resp, nil
}
