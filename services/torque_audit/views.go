package torqueaudit

import (
	"fmt"

	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/sitelog"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// The rows that readers get, and the indexes that list them.
const (
	modelSheet   = "sheet"   // the whole sheet, by job
	modelSummary = "summary" // a line of the list, by job
	modelWrench  = "wrench"

	indexAll  = "all"
	indexOpen = "open"
)

// Projection says what readers see of the state.
func Projection() readmodel.Projection[*State] {
	return readmodel.Projection[*State]{
		Version: 1,
		Machine: Machine(),
		Models:  []string{modelSheet, modelSummary, modelWrench},
		Touched: touched,
		Row:     row,
		Keys:    keys,
	}
}

func touched(_ *State, e sitelog.Event) []readmodel.Key {
	switch m := e.Message.(type) {
	case *pb.WrenchSet:
		return []readmodel.Key{{Model: modelWrench, ID: m.GetWrench().GetName()}}
	case *pb.WrenchChecked:
		return []readmodel.Key{{Model: modelWrench, ID: m.GetWrench()}}
	case *pb.ReadingPosted:
		return append(ofSheet(m.GetJob()), readmodel.Key{Model: modelWrench, ID: m.GetReading().GetWrench()})
	case ofJob:
		return ofSheet(m.GetJob())
	}
	return nil
}

func ofSheet(job string) []readmodel.Key {
	return []readmodel.Key{{Model: modelSheet, ID: job}, {Model: modelSummary, ID: job}}
}

func row(s *State, key readmodel.Key) (readmodel.Row, bool) {
	if key.Model == modelWrench {
		w, ok := s.wrenches[key.ID]
		if !ok {
			return readmodel.Row{}, false
		}
		return readmodel.Row{Value: w.render(), Index: []readmodel.IndexEntry{{Name: indexAll, Order: key.ID}}}, true
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
	for job := range s.sheets {
		found = append(found, readmodel.Key{Model: model, ID: job})
	}
	return found
}
