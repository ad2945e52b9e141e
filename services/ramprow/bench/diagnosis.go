package bench

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/identity"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

const (
	// longestDiagnosis bounds the whole measurement of jobs.
	longestDiagnosis = 20 * time.Second
	// jobsOnBoard is how many other jobs have a bay while one is measured. All are
	// planned anew with every one that comes, so that number matters.
	jobsOnBoard = 10
)

// diagnose lets jobs come one after another, and gives for each the time from
// the call of ConfirmDiagnosis until one open WatchBoard stream has brought its
// booking. The oldest job is cancelled in between, so that the board holds the
// same number all the time. It ends early when its time is over.
func diagnose(ctx context.Context, s *stand, site string, jobs int) ([]time.Duration, error) {
	catalogue, err := s.equip(ctx, site)
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	if ctx, err = s.as(ctx, site, identity.Owner); err != nil {
		return nil, err
	}
	stream, err := s.scheduling.WatchBoard(ctx, &schedulingv1.WatchBoardRequest{})
	if err != nil {
		return nil, fmt.Errorf("watch the board: %w", err)
	}
	b := &board{booked: map[string]time.Time{}, cancelled: map[string]time.Time{}, news: make(chan struct{}, 1)}
	go b.watch(stream)
	var took []time.Duration
	var open []string
	for began := time.Now(); len(took) < jobs && time.Since(began) < longestDiagnosis; {
		job, d, err := s.diagnoseOne(ctx, b, catalogue, len(took)+len(open))
		if err != nil {
			return nil, err
		}
		if open = append(open, job); len(open) <= jobsOnBoard {
			continue // not measured: the board is still filling
		}
		took = append(took, d)
		if err := s.cancelJob(ctx, b, open[0]); err != nil {
			return nil, err
		}
		open = open[1:]
	}
	slices.Sort(took)
	return took, nil
}

// cancelJob takes a job off the board, and waits until it is off.
func (s *stand) cancelJob(ctx context.Context, b *board, job string) error {
	if _, err := s.job.CancelJob(ctx, &jobv1.CancelJobRequest{RequestId: rand.Text(), Job: job, Reason: "measured"}); err != nil {
		return fmt.Errorf("cancel %s: %w", job, err)
	}
	if _, err := b.wait(ctx, b.cancelled, job); err != nil {
		return fmt.Errorf("wait until %s is off the board: %w", job, err)
	}
	return nil
}

// diagnoseOne opens a job, confirms the next of the catalogue's causes in turn,
// and waits for the booking. It gives the time from the call to the booking.
func (s *stand) diagnoseOne(ctx context.Context, b *board, c *cataloguev1.Catalogue, n int) (job string, took time.Duration, err error) {
	opened, err := s.job.OpenJob(ctx, &jobv1.OpenJobRequest{
		RequestId: rand.Text(),
		Vehicle: &jobv1.Vehicle{
			Vin: fmt.Sprintf("YMR0RN16ZHA%06d", n), Plate: fmt.Sprintf("RP-%d", n), Catalogue: c.GetId(), OdometerKm: 120_000,
			Built: timestamppb.New(time.Date(2020, 3, 12, 0, 0, 0, 0, time.UTC)),
		},
		Customer: &jobv1.Customer{Name: "Marta Quell", Contact: "by telephone"}, Complaint: "Shakes at idle.",
	})
	if err != nil {
		return "", 0, fmt.Errorf("open a job: %w", err)
	}
	job = opened.GetJob().GetName()
	cause := c.GetCauses()[n%len(c.GetCauses())].GetId()
	called := time.Now()
	_, err = s.job.ConfirmDiagnosis(ctx, &jobv1.ConfirmDiagnosisRequest{RequestId: rand.Text(), Job: job, Causes: []string{cause}})
	if err != nil {
		return "", 0, fmt.Errorf("confirm %s for %s: %w", cause, job, err)
	}
	at, err := b.wait(ctx, b.booked, job)
	if err != nil {
		return "", 0, fmt.Errorf("wait for a bay for %s with %s: %w", job, cause, err)
	}
	return job, at.Sub(called), nil
}

// board notes when each job was first seen with a bay, and when as cancelled.
type board struct {
	mu        sync.Mutex
	booked    map[string]time.Time
	cancelled map[string]time.Time
	err       error         // why the stream ended
	news      chan struct{} // room for one
}

func (b *board) watch(stream grpc.ServerStreamingClient[schedulingv1.WatchBoardResponse]) {
	for {
		r, err := stream.Recv()
		at := time.Now()
		b.note(r.GetBooking(), at, err)
		select {
		case b.news <- struct{}{}:
		default: // whoever waits will look anyhow
		}
		if err != nil {
			return
		}
	}
}

func (b *board) note(booking *schedulingv1.Booking, at time.Time, err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.err = err
	job := booking.GetJob()
	if booking.GetState() == schedulingv1.BookingState_BOOKING_STATE_CANCELLED {
		b.cancelled[job] = at
	} else if _, known := b.booked[job]; !known && booking.GetWhen() != nil {
		b.booked[job] = at
	}
}

// wait gives when a job was first seen as wanted.
func (b *board) wait(ctx context.Context, seen map[string]time.Time, job string) (time.Time, error) {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	for {
		b.mu.Lock()
		at, ok := seen[job]
		err := b.err
		b.mu.Unlock()
		switch {
		case ok:
			return at, nil
		case err != nil:
			return time.Time{}, fmt.Errorf("the board's stream ended: %w", err)
		}
		select {
		case <-b.news:
		case <-ctx.Done():
			return time.Time{}, errors.Join(errNotOnBoard, ctx.Err())
		}
	}
}

var errNotOnBoard = errors.New("the board does not show it")
