package record

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"maps"
)

// The members of the file.
const (
	memberFormat   = "format"
	memberJob      = "job"
	memberStart    = "start"
	memberReadings = "readings"
	memberResult   = "result"
	memberSum      = "sum"
	memberHash     = "hash"
	memberNumber   = "number"
)

// Sealed is a record as it is handed out.
type Sealed struct {
	JSON []byte
	// Start, Hashes and Sum are the chain: one hash for each reading.
	Start  string
	Hashes []string
	Sum    string
}

// Seal writes the file of a record. The error says what JSON cannot hold.
func Seal(r Record) (*Sealed, error) {
	job, err := plain(r.Job)
	if err != nil {
		return nil, err
	}
	s := &Sealed{Start: hash(map[string]any{memberFormat: Format, memberJob: job})}
	last := s.Start
	linked := make([]any, 0, len(r.Readings))
	for _, reading := range r.Readings {
		v, err := plain(reading)
		if err != nil {
			return nil, err
		}
		members, ok := v.(map[string]any)
		if !ok {
			return nil, fmt.Errorf("reading %d is no object", reading.Number)
		}
		last = link(last, members)
		s.Hashes = append(s.Hashes, last)
		members[memberHash] = last
		linked = append(linked, members)
	}
	r.Result.Readings = len(r.Readings)
	result, err := plain(r.Result)
	if err != nil {
		return nil, err
	}
	s.Sum = link(last, result)
	s.JSON, err = json.MarshalIndent(map[string]any{
		memberFormat: Format, memberJob: job, memberStart: s.Start, memberReadings: linked, memberResult: result, memberSum: s.Sum,
	}, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("write the record: %w", err)
	}
	s.JSON = append(s.JSON, '\n')
	return s, nil
}

// plain gives a value as parse would read it.
func plain(v any) (any, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return nil, fmt.Errorf("write the record: %w", err)
	}
	return parse(b.Bytes())
}

func hash(v any) string {
	sum := sha256.Sum256(canonical(nil, v))
	return hex.EncodeToString(sum[:])
}

// link is the hash of a value that follows another in the chain.
func link(before string, v any) string {
	sum := sha256.Sum256(canonical([]byte(before+"\n"), v))
	return hex.EncodeToString(sum[:])
}

// withoutHash gives a reading's members but for its own hash.
func withoutHash(members map[string]any) map[string]any {
	rest := maps.Clone(members)
	delete(rest, memberHash)
	return rest
}
