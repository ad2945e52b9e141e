package teardown

import (
	"cmp"
	"fmt"
	"slices"
)

// Tray is what became of the pieces by one name.
type Tray struct {
	Piece string
	// Off is how many came off, Back how many went back on, and Renewed how many of those are new.
	Off, Back, Renewed int
	// Broken says that some broke up. Fragments counts them; Counted says that somebody has found
	// all of them.
	Broken    bool
	Fragments int
	Counted   bool
	// Explained is signed, by name, where something stays unaccounted for.
	Explained string
}

// OpenPoint is one reason why the car may not be closed.
type OpenPoint struct {
	// Piece, State or Tool is what it is about; the others are empty.
	Piece string
	State string
	Tool  string
	Why   string
}

// Unaccounted lists what forbids to finish the refit: a piece that is not back, one used once that was
// not renewed, fragments not counted, a state still held, a special tool still on the car. A
// signed explanation settles a piece; states and tools cannot be explained away, because the first start
// with them destroys the engine.
func (e *Engine) Unaccounted(trays []Tray, held []string) ([]OpenPoint, error) {
	var out []OpenPoint
	for _, t := range trays {
		i, known := e.pieces[t.Piece]
		if !known {
			return nil, &InvalidError{fmt.Sprintf("tray %q", t.Piece), "names a piece that is unknown"}
		}
		if t.Explained == "" {
			out = append(out, e.model.Pieces[i].unaccounted(t)...)
		}
	}
	for _, id := range held {
		i, known := e.states[id]
		if !known {
			return nil, &InvalidError{fmt.Sprintf("state %q", id), "is unknown"}
		}
		s := e.model.States[i]
		out = append(out, OpenPoint{State: id, Why: s.Title + " has not been left"})
		for _, tool := range s.ToolsLeftOn {
			out = append(out, OpenPoint{Tool: tool, Why: fmt.Sprintf("tool %s is still on the car for %s", tool, s.Title)})
		}
	}
	slices.SortStableFunc(out, func(a, b OpenPoint) int { return cmp.Compare(a.Piece, b.Piece) })
	return out, nil
}

func (p Piece) unaccounted(t Tray) []OpenPoint {
	var out []OpenPoint
	add := func(format string, args ...any) {
		out = append(out, OpenPoint{Piece: p.ID, Why: p.Title + fmt.Sprintf(format, args...)})
	}
	if t.Back != t.Off {
		add(": %d came off and %d went back", t.Off, t.Back)
	}
	if p.Fate == Renew && t.Renewed < t.Back {
		add(" is used once: %d of %d are not new", t.Back-t.Renewed, t.Back)
	}
	if t.Broken && !t.Counted {
		add(" broke up: %d fragments found, not all accounted for", t.Fragments)
	}
	return out
}

// NewTrays lists the trays that a plan's openings fill, each piece once, in the order in which
// they come off.
func (e *Engine) NewTrays(p Plan) []Tray {
	var out []Tray
	for _, s := range p.Steps {
		if s.Kind != StepOpen {
			continue
		}
		for _, id := range s.TakesOff {
			count := max(1, e.model.Pieces[e.pieces[id]].Count)
			if !slices.ContainsFunc(out, func(t Tray) bool { return t.Piece == id }) {
				out = append(out, Tray{Piece: id, Off: count})
			}
		}
	}
	return out
}
