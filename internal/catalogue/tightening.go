package catalogue

import (
	"ramprow/internal/engine/fastening"
	pb "ramprow/proto/ramprow/catalogue/v1"
)

// TighteningOrder gives the fasteners of a joint, numbered from 1, in the order
// of its pattern. A catalogue that was checked has one for every joint.
func TighteningOrder(j *pb.Joint) []uint32 {
	order, err := fastening.Order(pattern(j.GetPattern()), int(j.GetFasteners()), numbers(j.GetOrder()))
	if err != nil {
		return nil
	}
	fasteners := make([]uint32, len(order))
	for i, n := range order {
		fasteners[i] = uint32(n) //nolint:gosec // a joint has at most 200 fasteners
	}
	return fasteners
}
