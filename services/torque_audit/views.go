package torqueaudit

import (
	"fmt"
	"strings"

	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/shelf"
	"ramprow/internal/platform/sitelog"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// The rows that readers get, and the indexes that list them.
const (
	modelSheet   = "sheet"   // the whole sheet, by job
	modelSummary = "summary" // a line of the list, by job
	modelWrench  = "wrench"
	modelDoubt   = "lookback" // what a failed wrench puts in doubt, by name
	modelRecheck = "recheck"  // what is to be checked again, by job and joint

	indexAll  = "all"
	indexOpen = "open"
)

// Projection says what readers see of the state.
func Projection() readmodel.Projection[*State] {
	return readmodel.Projection[*State]{
		Version: 2,
		Machine: Machine(),
		Models:  []string{modelSheet, modelSummary, modelWrench, modelDoubt, modelRecheck},
		Touched: touched,
		Row:     row,
		Keys:    keys,
		Archive: archive(),
	}
}

func touched(s *State, e sitelog.Event) []readmodel.Key {
	switch m := e.Message.(type) {
	case *pb.WrenchSet:
		return []readmodel.Key{{Model: modelWrench, ID: m.GetWrench().GetName()}}
	case *pb.WrenchChecked:
		return []readmodel.Key{{Model: modelWrench, ID: m.GetWrench()}}
	case *pb.RecheckReadingPosted:
		return append(s.ofSheet(m.GetJob()), readmodel.Key{Model: modelWrench, ID: m.GetReading().GetWrench()})
	case *pb.ReadingPosted:
		return append(s.ofSheet(m.GetJob()), readmodel.Key{Model: modelWrench, ID: m.GetReading().GetWrench()})
	case *pb.LookBackMade:
		return []readmodel.Key{{Model: modelDoubt, ID: m.GetLookBack().GetName()}}
	case *pb.LookBackSeen:
		return []readmodel.Key{{Model: modelDoubt, ID: m.GetLookBack()}}
	case ofJob:
		return s.ofSheet(m.GetJob())
	}
	return nil
}

// ofSheet gives the rows in which a sheet is shown.
func (s *State) ofSheet(job string) []readmodel.Key {
	rows := []readmodel.Key{{Model: modelSheet, ID: job}, {Model: modelSummary, ID: job}}
	for _, name := range s.doubted[job] {
		rows = append(rows, readmodel.Key{Model: modelDoubt, ID: name})
	}
	return append(rows, s.sheets[job].recheckKeys()...)
}

// recheckKeys gives the rows in which the re-checks of a sheet are shown.
func (s *sheet) recheckKeys() []readmodel.Key {
	var rows []readmodel.Key
	if s == nil {
		return nil
	}
	for _, j := range s.joints {
		if len(j.rechecks) > 0 {
			rows = append(rows, readmodel.Key{Model: modelRecheck, ID: s.job + "/" + j.due.GetJoint()})
		}
	}
	return rows
}

// recheckRow shows a re-check while somebody has to do something about it; what
// failed comes first.
func (s *State) recheckRow(id string) (readmodel.Row, bool) {
	cut := strings.LastIndexByte(id, '/')
	sh := s.sheets[id[:max(0, cut)]]
	if sh == nil {
		return readmodel.Row{}, false
	}
	j := sh.find(id[cut+1:])
	if j == nil {
		return readmodel.Row{}, false
	}
	r := sh.shownRecheck(j)
	if r == nil {
		return readmodel.Row{}, false
	}
	order := int64(0)
	if r.GetState() == pb.RecheckState_RECHECK_STATE_DUE {
		order = max(1, r.GetDueAt().GetSeconds())
	}
	return readmodel.Row{Value: r, Index: []readmodel.IndexEntry{{Name: indexDue, Order: fmt.Sprintf("%020d", order)}}}, true
}

func row(s *State, key readmodel.Key) (readmodel.Row, bool) {
	if key.Model == modelWrench {
		w, ok := s.wrenches[key.ID]
		if !ok {
			return readmodel.Row{}, false
		}
		shown := w.render()
		entries := []readmodel.IndexEntry{{Name: indexAll, Order: key.ID}}
		if order := dueOrder(shown); order != "" {
			entries = append(entries, readmodel.IndexEntry{Name: indexDue, Order: order})
		}
		return readmodel.Row{Value: shown, Index: entries}, true
	}
	if key.Model == modelRecheck {
		return s.recheckRow(key.ID)
	}
	if key.Model == modelDoubt {
		return s.doubtRow(key.ID)
	}
	sh, ok := s.sheets[key.ID]
	if !ok {
		return readmodel.Row{}, false
	}
	if key.Model == modelSheet {
		return readmodel.Row{Value: sh.render()}, true
	}
	return readmodel.Row{Value: sh.summary(), Index: sh.index()}, true
}

// doubtRow shows a look-back; one that is seen and settled is in one list only.
func (s *State) doubtRow(name string) (readmodel.Row, bool) {
	kept, ok := s.lookBacks[name]
	if !ok {
		return readmodel.Row{}, false
	}
	l := s.renderLookBack(kept)
	order := fmt.Sprintf("%010d", shelf.Number(name))
	entries := []readmodel.IndexEntry{{Name: indexAll, Order: order}}
	if l.GetOpen() > 0 || l.GetSeenBy() == "" {
		entries = append(entries, readmodel.IndexEntry{Name: indexOpen, Order: order})
	}
	return readmodel.Row{Value: l, Index: entries}, true
}

// index lists a sheet by its job's number; what is finished is in one list only.
func (s *sheet) index() []readmodel.IndexEntry {
	order := fmt.Sprintf("%010d", s.number())
	entries := []readmodel.IndexEntry{{Name: indexAll, Order: order}}
	if !s.complete && !s.void {
		entries = append(entries, readmodel.IndexEntry{Name: indexOpen, Order: order})
	}
	return entries
}

func keys(s *State, model string) []readmodel.Key {
	var found []readmodel.Key
	if model == modelWrench {
		for name := range s.wrenches {
			found = append(found, readmodel.Key{Model: model, ID: name})
		}
		return found
	}
	if model == modelDoubt {
		for name := range s.lookBacks {
			found = append(found, readmodel.Key{Model: model, ID: name})
		}
		return found
	}
	if model == modelRecheck {
		for _, sh := range s.sheets {
			found = append(found, sh.recheckKeys()...)
		}
		return found
	}
	for job := range s.sheets {
		found = append(found, readmodel.Key{Model: model, ID: job})
	}
	return found
}
