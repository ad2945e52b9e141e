package torqueaudit

import (
	"math"

	"ramprow/internal/engine/fastening"
	"ramprow/internal/platform/fault"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// shown is what a wrench showed or was set to, in newton metres: a torque in
// another unit is converted by the factors of NIST SP 811 and kept as given.
func shown(newtonMetres float64, given *pb.GivenTorque) (float64, error) {
	if given == nil {
		return newtonMetres, nil
	}
	if newtonMetres != 0 {
		return 0, fault.New(fault.Invalid, "TORQUE_TWICE", "the torque was given in newton metres and in %s; give it once", given.GetUnit()).
			WithField("torque", "must be absent beside torque_nm")
	}
	torque, err := fastening.ToNewtonMetres(given.GetValue(), given.GetUnit())
	if err != nil {
		return 0, fault.New(fault.Invalid, "TORQUE_UNIT_UNKNOWN", "the torque cannot be used: %v", err).
			WithField("torque.unit", "%v", err)
	}
	if !(torque >= 0) || math.IsInf(torque, 0) || torque > mostTorqueNM {
		return 0, fault.New(fault.Invalid, "READING_MALFORMED", "%g %s is no torque that a hand tool gives", given.GetValue(), given.GetUnit()).
			WithField("torque.value", "must be from 0 to %d N·m when converted", mostTorqueNM)
	}
	return torque, nil
}

// mostTorqueNM is the most that a reading may hold, as the requests' rules say.
const mostTorqueNM = 10_000
