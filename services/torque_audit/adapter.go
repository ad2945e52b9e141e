package torqueaudit

import (
	"ramprow/internal/engine/fastening"
	"ramprow/internal/platform/fault"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// inUse is a wrench in use: what it shows is not what the fastener gets when an
// adapter is between them.
type inUse struct {
	tool    fastening.Tool
	adapter *pb.Adapter
}

func adapterOf(a *pb.Adapter) fastening.Adapter {
	return fastening.Adapter{Lever: a.GetLeverMm(), Reach: a.GetReachMm(), Angle: a.GetAngleDeg()}
}

// with puts an adapter on a wrench; nil: none.
func (w *wrench) with(a *pb.Adapter) (inUse, error) {
	if a == nil {
		return inUse{tool: w.toolOf()}, nil
	}
	tool, err := w.toolOf().With(adapterOf(a))
	if err != nil {
		return inUse{}, unusable(err)
	}
	return inUse{tool: tool, adapter: a}, nil
}

// applied is the torque at the fastener for what the wrench shows.
func (u inUse) applied(shown float64) (float64, error) {
	if u.adapter == nil {
		return shown, nil
	}
	torque, err := adapterOf(u.adapter).Applied(shown)
	if err != nil {
		return 0, unusable(err)
	}
	return torque, nil
}

func unusable(err error) error {
	return fault.New(fault.Invalid, "ADAPTER_UNUSABLE", "the adapter cannot be corrected for: %v", err).
		WithField("adapter", "%v", err)
}

// withSetting says what the wrench is set to for a turn with an adapter.
func withSetting(turn *pb.NextTurn, a *pb.Adapter) (*pb.NextTurn, error) {
	if turn == nil || a == nil || turn.GetSpec().GetTorqueNm() == 0 {
		return turn, nil
	}
	setting, err := adapterOf(a).Setting(turn.GetSpec().GetTorqueNm())
	if err != nil {
		return nil, unusable(err)
	}
	turn.SettingNm = setting
	return turn, nil
}
