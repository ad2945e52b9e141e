package diagnosis

import (
	"fmt"
	"strings"
)

// InvalidError tells what is wrong with a model or with evidence, and where.
type InvalidError struct {
	// Where is the offending item, as in test "coil-swap".
	Where   string
	Problem string
}

func (e *InvalidError) Error() string {
	return fmt.Sprintf("%s: %s", e.Where, e.Problem)
}

// ImpossibleError says that no combination of causes could have brought the evidence about.
type ImpossibleError struct {
	// Conflict is a smallest set of items of the evidence that cannot be true together: taking
	// back any one of them makes the rest possible.
	Conflict []string
}

func (e *ImpossibleError) Error() string {
	return fmt.Sprintf("this evidence cannot be true together: %s; take one of them back",
		strings.Join(e.Conflict, ", "))
}

// TooLargeError says that the evidence ties too many causes together for an exact answer.
type TooLargeError struct {
	Causes   int
	Findings int
}

func (e *TooLargeError) Error() string {
	return fmt.Sprintf("%d causes and %d findings hang together; at most %d of either can be answered exactly",
		e.Causes, e.Findings, maxExponent)
}
