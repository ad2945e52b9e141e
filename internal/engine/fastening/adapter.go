package fastening

import (
	"fmt"
	"math"
)

// Adapter is a crow-foot or extension on a wrench that is pulled at a grip.
type Adapter struct {
	// Lever is from the drive's centre to the middle of the grip. Where the hand
	// pulls must be as told, or the correction is void.
	Lever float64
	// Reach is from the drive's centre to the fastener's, in the same unit.
	Reach float64
	// Angle in degrees between adapter and handle: 0 straight on, 90 no change.
	Angle float64
}

// AdapterError says why an adapter cannot be corrected for.
type AdapterError struct{ Problem string }

// Error implements error.
func (e *AdapterError) Error() string { return "adapter: " + e.Problem }

// factor is the fastener's torque per torque at the drive.
func (a Adapter) factor() (float64, error) {
	if !(a.Lever > 0) || math.IsInf(a.Lever, 0) || a.Reach < 0 || math.IsNaN(a.Reach) {
		return 0, &AdapterError{Problem: "the lever must be above 0 and the reach not below"}
	}
	factor := (a.Lever + a.Reach*math.Cos(a.Angle*math.Pi/180)) / a.Lever
	if !(factor > 0) || math.IsInf(factor, 0) {
		return 0, &AdapterError{Problem: fmt.Sprintf("at %s degrees it reaches back to the grip or beyond", number(a.Angle))}
	}
	return factor, nil
}

// Setting is what the wrench is set to for a torque at the fastener. The error
// is an *AdapterError.
func (a Adapter) Setting(torque float64) (float64, error) {
	factor, err := a.factor()
	if err != nil {
		return 0, err
	}
	return torque / factor, nil
}

// Applied is the torque at the fastener for what the wrench is set to.
func (a Adapter) Applied(setting float64) (float64, error) {
	factor, err := a.factor()
	return setting * factor, err
}

// With gives the tool as it is with the adapter on: its range moves with the
// correction, and readings are then given as torque at the fastener.
func (t Tool) With(a Adapter) (Tool, error) {
	factor, err := a.factor()
	if err != nil {
		return Tool{}, err
	}
	t.MinNM, t.MaxNM = t.MinNM*factor, t.MaxNM*factor
	return t, nil
}
