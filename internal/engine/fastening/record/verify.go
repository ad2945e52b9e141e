package record

import (
	"fmt"
	"slices"
)

// Proof says what a record proves once every hash was found right.
type Proof struct {
	Job, Vehicle, State string
	Start               string
	Hashes              []string // of the readings
	Sum                 string
}

// BrokenError says where a record does not fit its own chain.
type BrokenError struct {
	// Reading is the first one that was changed, left out or put in; 0: another place.
	Reading int
	Problem string
}

// Error implements error.
func (e *BrokenError) Error() string { return e.Problem }

func broke(format string, args ...any) *BrokenError {
	return &BrokenError{Problem: fmt.Sprintf(format, args...)}
}

func brokeAt(reading int, format string, args ...any) *BrokenError {
	return &BrokenError{Reading: reading, Problem: fmt.Sprintf("reading %d ", reading) + fmt.Sprintf(format, args...)}
}

// Verify reads a record and walks its chain. The error is a *BrokenError that
// names the first place at which it was changed.
func Verify(data []byte) (*Proof, error) {
	v, err := parse(data)
	if err != nil {
		return nil, broke("this is no record: %v", err)
	}
	file, ok := v.(map[string]any)
	if !ok || file[memberFormat] != Format {
		return nil, broke("this is no tightening record: its format must be %q", Format)
	}
	if err := onlyKnown(file); err != nil {
		return nil, err
	}
	p := &Proof{}
	p.Start = hash(map[string]any{memberFormat: file[memberFormat], memberJob: file[memberJob]})
	if file[memberStart] != p.Start {
		return nil, broke("the head of the record (job, vehicle, customer or opening) was changed")
	}
	if err := p.walk(file[memberReadings]); err != nil {
		return nil, err
	}
	result, ok := file[memberResult].(map[string]any)
	if !ok {
		return nil, broke("the result is missing")
	}
	if told, _ := result["readings"].(float64); int(told) > len(p.Hashes) {
		return nil, brokeAt(len(p.Hashes)+1, "is missing: the record had %d", int(told))
	}
	p.Sum = link(p.last(), result)
	if file[memberSum] != p.Sum {
		return nil, broke("the readings are unchanged, but the result was changed (joints, departures, signature), or its sum")
	}
	p.describe(file[memberJob], result)
	return p, nil
}

// onlyKnown refuses members that no hash covers.
func onlyKnown(file map[string]any) error {
	known := []string{memberFormat, memberJob, memberStart, memberReadings, memberResult, memberSum}
	for name := range file {
		if !slices.Contains(known, name) {
			return broke("the member %q was added: no hash covers it", name)
		}
	}
	return nil
}

func (p *Proof) last() string {
	if len(p.Hashes) == 0 {
		return p.Start
	}
	return p.Hashes[len(p.Hashes)-1]
}

// walk follows the readings from the first.
func (p *Proof) walk(v any) error {
	readings, ok := v.([]any)
	if !ok {
		return broke("the readings are missing")
	}
	for i, v := range readings {
		members, ok := v.(map[string]any)
		if !ok {
			return brokeAt(i+1, "was changed: it is no reading")
		}
		if number, _ := members[memberNumber].(float64); number != float64(i+1) {
			return brokeAt(i+1, "was changed or left out: number %v stands in its place", members[memberNumber])
		}
		linked := link(p.last(), withoutHash(members))
		if members[memberHash] != linked {
			return brokeAt(i+1, "was changed, or its hash")
		}
		p.Hashes = append(p.Hashes, linked)
	}
	return nil
}

func (p *Proof) describe(job any, result map[string]any) {
	if head, ok := job.(map[string]any); ok {
		p.Job, _ = head["job"].(string)
		p.Vehicle, _ = head["vehicle"].(string)
	}
	p.State, _ = result["state"].(string)
}

// Follows tells whether a record is the beginning of another one of the same
// job, issued later. The error is a *BrokenError that names the first reading
// in which they differ: somebody has computed the chain anew.
func (p *Proof) Follows(later *Proof) error {
	if p.Start != later.Start {
		return broke("it is not of the same job, or its head was changed and the chain computed anew")
	}
	for i, h := range p.Hashes {
		switch {
		case i >= len(later.Hashes):
			return brokeAt(i+1, "is not in the other record")
		case h != later.Hashes[i]:
			return brokeAt(i+1, "was changed and the chain computed anew: the other record has another one")
		}
	}
	return nil
}
