package readmodel

import (
	"encoding/json"
	"fmt"
	"time"
)

// claimLife is how long a rebuild may stay silent before another projector
// takes over. Each chunk of rows renews it.
const claimLife = 10 * time.Second

// position is what Redis holds of a site, and the guard of every write. The
// zero position means that nothing there can be relied on.
type position struct {
	// Log is the id of the first commit: a log that was made anew has another one.
	Log string `json:"log,omitempty"`
	// Sequence and Commit name the last commit that the rows hold.
	Sequence uint64 `json:"sequence,omitempty"`
	Commit   string `json:"commit,omitempty"`
	// Claim is the token of the rebuild under way: rows come and go.
	Claim string `json:"claim,omitempty"`
}

// vouches says whether the rows are those of a log.
func (p position) vouches(log string) bool {
	return p.Claim == "" && p.Log != "" && p.Log == log
}

// life gives how long the position may stand; 0 is for ever.
func (p position) life() time.Duration {
	if p.Claim != "" {
		return claimLife
	}
	return 0
}

func (p position) encode() ([]byte, error) {
	b, err := json.Marshal(p)
	if err != nil {
		return nil, fmt.Errorf("encode position: %w", err)
	}
	return b, nil
}

// decodePosition reads a position as Redis gives it: a string, or nil if there
// is none. Whatever cannot be read vouches for nothing.
func decodePosition(stored any) position {
	text, ok := stored.(string)
	if !ok {
		return position{}
	}
	var p position
	if err := json.Unmarshal([]byte(text), &p); err != nil {
		return position{}
	}
	return p
}
