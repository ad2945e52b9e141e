package bench

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"math"
	"sync/atomic"
	"time"

	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/jetstream"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// tighteningLeg is one way of spending a round of tightening.
type tighteningLeg int

const (
	readingsLeg tighteningLeg = iota
	readingsBrokerLeg
	curvesLeg
	receivedLeg
	tighteningLegs // how many there are
)

// tighteningRound is what the legs gave side by side.
type tighteningRound [tighteningLegs]Sample

// tightening is everything that the legs call.
type tightening struct {
	config   ReadingsConfig
	audit    *audit
	raw      *jetstream.RawPublisher
	payload  int // bytes that the broker's leg publishes
	pieces   []*torqueauditv1.RecordCurveRequest
	taken    atomic.Int64 // cars
	readings atomic.Int64 // answered
	curves   atomic.Int64 // answered
	revision newest
}

// bolt is the next one that a caller tightens: each has its own car.
type bolt struct{ car, tightened int64 }

// samplesPerPiece of a curve: a tenth of a second.
const samplesPerPiece = samplesASecond / 10

// readingsAtMost is more than any caller's machine has judged in a second.
const readingsAtMost = 20_000

func newTightening(ctx context.Context, c ReadingsConfig, s *audit) (*tightening, error) {
	t := &tightening{config: c, audit: s, pieces: curvePieces(c.Samples)}
	if err := s.open(ctx, 1); err != nil {
		return nil, err
	}
	var first bolt
	if err := t.read(s.as(ctx), &first); err != nil {
		return nil, fmt.Errorf("the first reading: %w", err)
	}
	last, err := s.backend.Log.Last(ctx, t.subject())
	if err != nil {
		return nil, err
	}
	t.payload = recordSize(last)
	log, ok := s.backend.Log.(rawPublisher)
	if !ok {
		return nil, fmt.Errorf("a log of type %T has no broker to compare with", s.backend.Log)
	}
	t.raw, err = log.NewRawPublisher(ctx, t.payload)
	return t, err
}

func (t *tightening) subject() sitelog.Subject {
	return sitelog.Subject{Service: auditRole, Site: auditSite}
}

// curvePieces is a curve with nothing up to 30 degrees, then 1 N·m a degree up to
// 90, then a tenth of that, in messages whose first lacks its fastener.
func curvePieces(samples int) []*torqueauditv1.RecordCurveRequest {
	var pieces []*torqueauditv1.RecordCurveRequest
	for n := range samples {
		if n%samplesPerPiece == 0 {
			pieces = append(pieces, &torqueauditv1.RecordCurveRequest{})
		}
		piece := pieces[len(pieces)-1]
		angle := 120 * float64(n) / float64(samples-1)
		piece.AngleDeg = append(piece.AngleDeg, angle)
		piece.TorqueNm = append(piece.TorqueNm, max(0, min(angle, 90)-30)+0.1*max(0, angle-90))
	}
	return pieces
}

// next gives the caller's next bolt, of a new car if this one has no more.
func (t *tightening) next(b *bolt) (car, joint string, fastener uint32, err error) {
	if b.car == 0 || b.tightened == boltsPerCar {
		*b = bolt{car: t.taken.Add(1)}
		if b.car > t.audit.cars {
			return "", "", 0, errors.New("this machine is faster than there are bolts; give a shorter --duration")
		}
	}
	n := b.tightened
	b.tightened++
	return carName(b.car), jointName(n/boltsPerJoint + 1), uint32(n%boltsPerJoint) + 1, nil //nolint:gosec // at most 20
}

// read tightens the caller's next bolt, and waits until the reading is on disk.
// One that does not conform would be a reading of something else.
func (t *tightening) read(ctx context.Context, b *bolt) error {
	car, joint, fastener, err := t.next(b)
	if err != nil {
		return err
	}
	response, err := t.audit.client.PostReading(ctx, &torqueauditv1.PostReadingRequest{
		RequestId: rand.Text(), Job: car, Joint: joint, Fastener: fastener, Wrench: wrenchName(b.car), TorqueNm: 10,
	})
	if err != nil {
		return err
	}
	if r := response.GetReading(); !r.GetCounts() {
		return fmt.Errorf("bolt %d of %s in %s does not count: %s", fastener, joint, car, r.GetReason())
	}
	t.readings.Add(1)
	t.revision.note(response.GetReceipt().GetRevision())
	return nil
}

// send streams a curve of the next bolt to a server, and waits for its answer.
func (t *tightening) send(ctx context.Context, to torqueauditv1.TorqueAuditServiceClient, b *bolt) (*torqueauditv1.RecordCurveResponse, error) {
	car, joint, fastener, err := t.next(b)
	if err != nil {
		return nil, err
	}
	stream, err := to.RecordCurve(ctx)
	if err != nil {
		return nil, err
	}
	for n, piece := range t.pieces {
		if n == 0 {
			piece = &torqueauditv1.RecordCurveRequest{
				RequestId: rand.Text(), Job: car, Joint: joint, Fastener: fastener, Stage: 1, Wrench: wrenchName(b.car),
				AngleDeg: piece.GetAngleDeg(), TorqueNm: piece.GetTorqueNm(),
			}
		}
		if err := stream.Send(piece); err != nil {
			break // the answer says why
		}
	}
	return stream.CloseAndRecv()
}

// keep sends a curve to the service. The answer must be of this curve: all its
// samples, snug at 30 degrees.
func (t *tightening) keep(ctx context.Context, b *bolt) error {
	response, err := t.send(ctx, t.audit.client, b)
	if err != nil {
		return err
	}
	c := response.GetCurve()
	if int(c.GetSamples()) != t.config.Samples || math.Abs(c.GetSnug().GetAngleDeg()-30) > 1 {
		return fmt.Errorf("a curve of %d samples that is snug at 30 degrees was kept as %v", t.config.Samples, c)
	}
	t.curves.Add(1)
	t.revision.note(response.GetReceipt().GetRevision())
	return nil
}

// run spends one leg and leaves the machine quiet for the next.
func (t *tightening) run(ctx context.Context, l tighteningLeg, duration time.Duration) (Sample, error) {
	c, s := t.config, t.audit
	callers := c.Callers
	if l == curvesLeg || l == receivedLeg {
		callers = c.Tools
	}
	if l != readingsBrokerLeg {
		unused := s.cars - t.taken.Load()
		wanted := int64(callers) + int64(math.Ceil(duration.Seconds()*readingsAtMost/boltsPerCar))
		if err := s.open(ctx, max(0, wanted-unused)); err != nil {
			return Sample{}, err
		}
	}
	bolts := make([]bolt, callers)
	do := map[tighteningLeg]call{
		readingsLeg:       func(ctx context.Context, caller int) error { return t.read(ctx, &bolts[caller]) },
		readingsBrokerLeg: func(ctx context.Context, _ int) error { return t.raw.Publish(ctx) },
		curvesLeg:         func(ctx context.Context, caller int) error { return t.keep(ctx, &bolts[caller]) },
		receivedLeg: func(ctx context.Context, caller int) error {
			_, err := t.send(ctx, s.receiver, &bolts[caller])
			return err
		},
	}
	sample, err := load(ctx, callers, duration, task{as: func(ctx context.Context, _ int) context.Context { return s.as(ctx) }, do: do[l]})
	if err != nil {
		return Sample{}, err
	}
	// Read models that still work on this leg would disturb the next.
	_, err = s.client.GetSheet(s.as(ctx), &torqueauditv1.GetSheetRequest{Job: carName(1), MinRevision: t.revision.Load()})
	return sample, err
}

// measure spends all rounds; the legs take turns, each time in another order.
func (t *tightening) measure(ctx context.Context) ([]tighteningRound, error) {
	c := t.config
	c.say("warming up")
	for l := range tighteningLegs {
		if _, err := t.run(ctx, l, c.Duration/4); err != nil {
			return nil, err
		}
	}
	rounds := make([]tighteningRound, c.Rounds)
	for n := range rounds {
		for i := range tighteningLegs {
			l := (i + tighteningLeg(n)) % tighteningLegs
			sample, err := t.run(ctx, l, c.Duration)
			if err != nil {
				return nil, err
			}
			rounds[n][l] = sample
		}
		c.say("round %d of %d: %.0f readings/s beside the broker's %.0f/s, %.0f samples/s", n+1, c.Rounds,
			rounds[n][readingsLeg].Rate(), rounds[n][readingsBrokerLeg].Rate(), rounds[n][curvesLeg].Rate()*float64(c.Samples))
	}
	return rounds, nil
}

// count finds in the log what was answered.
func (t *tightening) count(ctx context.Context) (readings, curves Counted, err error) {
	log := t.audit.backend.Log
	if readings, err = countMethod(ctx, log, t.subject(), torqueauditv1.TorqueAuditService_PostReading_FullMethodName, int(t.readings.Load())); err != nil {
		return readings, curves, err
	}
	curves, err = countMethod(ctx, log, t.subject(), torqueauditv1.TorqueAuditService_RecordCurve_FullMethodName, int(t.curves.Load()))
	return readings, curves, err
}

func tighteningFigures(rounds []tighteningRound, l tighteningLeg) Figures {
	samples := make([]Sample, len(rounds))
	for n, r := range rounds {
		samples[n] = r[l]
	}
	return figuresOf(samples)
}

func tighteningRatio(rounds []tighteningRound, of, to tighteningLeg) float64 {
	return medianOf(rounds, func(r tighteningRound) float64 { return over(r[of].Rate(), r[to].Rate()) })
}
