package fastening

// End is where the stages leave a fastener: at a torque, and turned on from
// there by an angle; 0: not.
type End struct{ TorqueNM, AngleDeg float64 }

// End gives where the stages in force leave all fasteners; false when they
// leave some otherwise than others, or at no torque.
func (j Joint) End() (End, bool) {
	var common End
	for f := 1; f <= j.Fasteners; f++ {
		end := j.endOf(f)
		if f > 1 && end != common {
			return End{}, false
		}
		common = end
	}
	return common, common.TorqueNM > 0
}

func (j Joint) endOf(fastener int) End {
	var end End
	for _, s := range j.Stages {
		if !s.appliesTo(j.Parts) || !s.concerns(fastener) {
			continue
		}
		switch s.Kind {
		case Torque, Check:
			end = End{TorqueNM: s.Torque.Target}
		case Angle:
			end.AngleDeg += s.Angle.Target
		case BackOff:
			end = End{}
		case Wait:
		}
	}
	return end
}
