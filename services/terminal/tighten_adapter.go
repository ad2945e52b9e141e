package terminal

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"

	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

const adapterHelp = "crow-foot or extension on the wrench: lever and reach in mm and degrees between them, as in 450,50,90"

// parseAdapter reads LEVER,REACH,DEGREES; none is no adapter.
func parseAdapter(text string) (*torqueauditv1.Adapter, error) {
	if text == "" {
		return nil, nil //nolint:nilnil // no adapter is no mistake
	}
	wrong := fmt.Errorf("--adapter %q is no adapter; write lever and reach in mm and the degrees between them, as in 450,50,90", text)
	fields := strings.Split(text, ",")
	if len(fields) != 3 {
		return nil, wrong
	}
	values := make([]float64, len(fields))
	for i, f := range fields {
		v, ok := parseFigure(strings.TrimSpace(f))
		if !ok {
			return nil, wrong
		}
		values[i] = v
	}
	return &torqueauditv1.Adapter{LeverMm: values[0], ReachMm: values[1], AngleDeg: values[2]}, nil
}

// adapterText is the flag that gives an adapter again.
func adapterText(a *torqueauditv1.Adapter) string {
	return fmt.Sprintf("%g,%g,%g", a.GetLeverMm(), a.GetReachMm(), a.GetAngleDeg())
}

// asSet is a stage in the figures of the wrench in hand: with an adapter on it
// the wrench is set to another value than the fastener gets.
func asSet(turn *torqueauditv1.NextTurn) *cataloguev1.Stage {
	if turn.GetSettingNm() == 0 {
		return turn.GetSpec()
	}
	stage := proto.CloneOf(turn.GetSpec())
	share := turn.GetSettingNm() / stage.GetTorqueNm()
	stage.TorqueNm, stage.TorqueMinusNm, stage.TorquePlusNm = turn.GetSettingNm(), stage.GetTorqueMinusNm()*share, stage.GetTorquePlusNm()*share
	return stage
}
