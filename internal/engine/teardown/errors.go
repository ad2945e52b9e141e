package teardown

import (
	"fmt"
	"strings"
)

// InvalidError tells what is wrong with a model or a request, and where.
type InvalidError struct {
	// Where is the offending item, as in operation "lift-cover".
	Where   string
	Problem string
}

func (e *InvalidError) Error() string {
	return fmt.Sprintf("%s: %s", e.Where, e.Problem)
}

// ImpossibleError says that no way leads to the work, with the shortest explanation.
type ImpossibleError struct {
	// Chain leads from the target to what stands in the way for good.
	Chain []Obstacle
}

// Obstacle is one link of an explanation.
type Obstacle struct {
	// Piece or State cannot be had; the other is empty.
	Piece string
	State string
	// BlockedBy is what it waits for, which cannot be had either; empty at the end of the chain.
	BlockedBy []string
	// Why says it in words.
	Why string
}

func (e *ImpossibleError) Error() string {
	words := make([]string, len(e.Chain))
	for i, o := range e.Chain {
		words[i] = o.Why
	}
	return strings.Join(words, "; ")
}
