package desk

import (
	"math"

	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// pattern is a joint drawn for the page: where each fastener lies is a sketch of
// its pattern, not its place on the engine; the numbers are the catalogue's.
type pattern struct {
	Width, Height int
	Bolts         []bolt
}

// bolt is one fastener in the sketch.
type bolt struct {
	Number uint32
	X, Y   int
	// State is next, done, moved, failed or open.
	State string
}

const (
	boltPitch = 64
	boltEdge  = 40
)

// patternOf draws a joint and marks what was done in the present stage and round.
func patternOf(j *torqueauditv1.JointSheet, catalogue *cataloguev1.Catalogue) *pattern {
	count := int(j.GetDue().GetFasteners())
	p := &pattern{}
	if isRound(j, catalogue) {
		p.circle(count)
	} else {
		p.rows(count)
	}
	states := boltStates(j)
	for i := range p.Bolts {
		if state, ok := states[p.Bolts[i].Number]; ok {
			p.Bolts[i].State = state
		}
	}
	return p
}

func isRound(j *torqueauditv1.JointSheet, catalogue *cataloguev1.Catalogue) bool {
	for _, joint := range catalogue.GetJoints() {
		if joint.GetId() == j.GetDue().GetJoint() {
			return joint.GetPattern() == cataloguev1.Pattern_PATTERN_CIRCLE || joint.GetPattern() == cataloguev1.Pattern_PATTERN_CROSS
		}
	}
	return false
}

func (p *pattern) circle(count int) {
	radius := max(70, float64(count)*boltPitch/(2*math.Pi))
	size := int(2*radius) + 2*boltEdge
	p.Width, p.Height = size, size
	for i := range count {
		turn := 2*math.Pi*float64(i)/float64(count) - math.Pi/2
		p.Bolts = append(p.Bolts, bolt{
			Number: uint32(i + 1), State: "open",
			X: size/2 + int(math.Round(radius*math.Cos(turn))), Y: size/2 + int(math.Round(radius*math.Sin(turn))),
		})
	}
}

// rows lays up to six in a line, and more in two lines, odd numbers above.
func (p *pattern) rows(count int) {
	lines := 1
	if count > 6 {
		lines = 2
	}
	columns := (count + lines - 1) / lines
	p.Width, p.Height = (columns-1)*boltPitch+2*boltEdge, (lines-1)*boltPitch+2*boltEdge
	for i := range count {
		p.Bolts = append(p.Bolts, bolt{
			Number: uint32(i + 1), State: "open",
			X: boltEdge + i/lines*boltPitch, Y: boltEdge + i%lines*boltPitch,
		})
	}
}

// boltStates tells of each fastener how it stands in the present stage and round.
func boltStates(j *torqueauditv1.JointSheet) map[uint32]string {
	states := map[uint32]string{}
	next := j.GetNext()
	proved := next == nil && j.GetState() == torqueauditv1.JointState_JOINT_STATE_PROVED
	for _, r := range j.GetReadings() {
		if r.GetCorrectedBy() != 0 || !proved && (r.GetStage() != next.GetStage() || r.GetRound() != next.GetRound()) {
			continue
		}
		switch {
		case !r.GetCounts():
			states[r.GetFastener()] = "failed"
		case r.GetMoved():
			states[r.GetFastener()] = "moved"
		default:
			states[r.GetFastener()] = "done"
		}
	}
	if next != nil {
		states[next.GetFastener()] = "next"
	}
	return states
}
