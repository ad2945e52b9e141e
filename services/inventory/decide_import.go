package inventory

import (
	"errors"
	"fmt"
	"maps"
	"strings"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/partmaster"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// Of a refused file so many mistakes are told in the refusal, which has to fit a
// call's end; a dry run tells more.
const (
	mistakesInRefusal = 20
	mistakesInDryRun  = 1000
)

// importParts lists or changes the parts of a file, in its order: all of them or,
// with any mistake, none.
func importParts(st *State, in sitelog.Input, req *inventoryv1.ImportPartsRequest) ([]proto.Message, *inventoryv1.ImportPartsResponse, error) {
	rows, mistakes := partmaster.Read(string(req.GetCsv()))
	resp := &inventoryv1.ImportPartsResponse{}
	trial := st.apart()
	var events []proto.Message
	for _, row := range rows {
		var known *inventoryv1.Part
		if p := trial.parts[row.Number]; p != nil {
			known = p.about
		}
		about, wrong := row.Apply(known)
		if len(wrong) == 0 {
			about = describe(about)
			wrong = mistakesOf(row.Line, checkPart(trial, about))
		}
		switch {
		case len(wrong) > 0:
			mistakes = append(mistakes, wrong...)
			continue
		case known == nil:
			resp.Listed++
		case proto.Equal(known, about):
			resp.Unchanged++
			continue
		default:
			resp.Changed++
		}
		trial.list(about)
		events = append(events, &inventoryv1.PartListed{Part: about, Source: in.Actor.Person})
	}
	if req.GetDryRun() {
		resp.Mistakes = tellMistakes(mistakes)
		return nil, resp, nil
	}
	if len(mistakes) > 0 {
		return nil, nil, fileInvalid(mistakes)
	}
	return events, resp, nil
}

func fileInvalid(mistakes []partmaster.Mistake) error {
	e := fault.New(fault.Invalid, "FILE_INVALID",
		"the file has %d mistakes, so nothing of it is taken; a dry run tells all of them", len(mistakes))
	for _, m := range mistakes[:min(len(mistakes), mistakesInRefusal)] {
		e.WithField("csv", "%s", m)
	}
	return e
}

// mistakesOf turns a refusal of a part into mistakes of its line.
func mistakesOf(line int, err error) []partmaster.Mistake {
	if err == nil {
		return nil
	}
	m := partmaster.Mistake{Line: line, Text: err.Error()}
	f, is := errors.AsType[*fault.Error](err)
	if !is {
		return []partmaster.Mistake{m}
	}
	m.Text = f.Message
	if f.Kind != fault.Invalid || len(f.Fields) == 0 {
		if len(f.Fields) > 0 {
			m.Column = strings.TrimPrefix(f.Fields[0].Path, "part.")
		}
		return []partmaster.Mistake{m}
	}
	var mistakes []partmaster.Mistake
	for _, v := range f.Fields {
		mistakes = append(mistakes, partmaster.Mistake{Line: line, Column: strings.TrimPrefix(v.Path, "part."), Text: v.Description})
	}
	return mistakes
}

// apart is the state with a part master of its own, to try lines one after
// another; everything else is shared.
func (st *State) apart() *State {
	trial := *st
	trial.successors, trial.barcodes = maps.Clone(st.successors), maps.Clone(st.barcodes)
	trial.parts = make(map[string]*part, len(st.parts))
	for number, p := range st.parts {
		own := *p // list changes the description alone
		trial.parts[number] = &own
	}
	return &trial
}

// scanned finds the part of a code: by the barcode on it, else by its number.
func (st *State) scanned(code string) (string, error) {
	read, err := partmaster.Code(code)
	if err != nil {
		return "", fault.New(fault.Invalid, "CODE_INVALID", "%v", err).WithField("code", "%v", err)
	}
	if number, known := st.barcodes[read]; known {
		return number, nil
	}
	if st.parts[read] != nil {
		return read, nil
	}
	return "", fault.New(fault.NotFound, "CODE_UNKNOWN",
		"no part carries the code %s; look it up by its number, or put the code on its part with SetPart", strings.TrimSpace(code)).
		With("code", fmt.Sprintf("%q", read))
}
