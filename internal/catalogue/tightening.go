package catalogue

import (
	"ramprow/internal/engine/fastening"
	pb "ramprow/proto/ramprow/catalogue/v1"
)

// TighteningOrder gives the fasteners of a joint, numbered from 1, in the order
// of its pattern. A catalogue that was checked has one for every joint.
func TighteningOrder(j *pb.Joint) []uint32 {
	listed := make([]int, len(j.GetOrder()))
	for i, n := range j.GetOrder() {
		listed[i] = int(n)
	}
	order, err := fastening.Order(patterns[j.GetPattern()], int(j.GetFasteners()), listed)
	if err != nil {
		return nil
	}
	numbers := make([]uint32, len(order))
	for i, n := range order {
		numbers[i] = uint32(n) //nolint:gosec // a joint has at most 200 fasteners
	}
	return numbers
}

var patterns = map[pb.Pattern]fastening.Pattern{
	pb.Pattern_PATTERN_NUMBERED:    fastening.Numbered,
	pb.Pattern_PATTERN_FROM_MIDDLE: fastening.FromMiddle,
	pb.Pattern_PATTERN_CROSS:       fastening.Cross,
	pb.Pattern_PATTERN_CIRCLE:      fastening.Circle,
	pb.Pattern_PATTERN_LISTED:      fastening.Listed,
}
