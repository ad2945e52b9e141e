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

// longestDiagnosis bounds the whole measurement of jobs.
const longestDiagnosis = 20 * time.Second

// diagnose lets jobs come one after another, and gives for each the time from
// the call of ConfirmDiagnosis until one open WatchBoard stream has brought its
// booking. It ends early when its time is over.
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
	b := &board{seen: map[string]time.Time{}, news: make(chan struct{}, 1)}
	go b.watch(stream)
	var took []time.Duration
	for began := time.Now(); len(took) < jobs && time.Since(began) < longestDiagnosis; {
		d, err := s.diagnoseOne(ctx, b, catalogue, len(took))
		if err != nil {
			return nil, err
		}
		took = append(took, d)
	}
	slices.Sort(took)
	return took, nil
}

// diagnoseOne opens a job, confirms the next of the catalogue's causes in turn,
// and waits for the booking.
func (s *stand) diagnoseOne(ctx context.Context, b *board, c *cataloguev1.Catalogue, n int) (time.Duration, error) {
	opened, err := s.job.OpenJob(ctx, &jobv1.OpenJobRequest{
		RequestId: rand.Text(),
		Vehicle: &jobv1.Vehicle{
			Vin: fmt.Sprintf("YMR0RN16ZHA%06d", n), Plate: fmt.Sprintf("RP-%d", n), Catalogue: c.GetId(), OdometerKm: 120_000,
			Built: timestamppb.New(time.Date(2020, 3, 12, 0, 0, 0, 0, time.UTC)),
		},
		Customer: &jobv1.Customer{Name: "Marta Quell", Contact: "by telephone"}, Complaint: "Shakes at idle.",
	})
	if err != nil {
		return 0, fmt.Errorf("open a job: %w", err)
	}
	job, cause := opened.GetJob().GetName(), c.GetCauses()[n%len(c.GetCauses())].GetId()
	called := time.Now()
	_, err = s.job.ConfirmDiagnosis(ctx, &jobv1.ConfirmDiagnosisRequest{RequestId: rand.Text(), Job: job, Causes: []string{cause}})
	if err != nil {
		return 0, fmt.Errorf("confirm %s for %s: %w", cause, job, err)
	}
	at, err := b.wait(ctx, job)
	if err != nil {
		return 0, fmt.Errorf("wait for a bay for %s with %s: %w", job, cause, err)
	}
	return at.Sub(called), nil
}

// board notes when each job's booking was first seen.
type board struct {
	mu   sync.Mutex
	seen map[string]time.Time
	err  error         // why the stream ended
	news chan struct{} // room for one
}

func (b *board) watch(stream grpc.ServerStreamingClient[schedulingv1.WatchBoardResponse]) {
	for {
		r, err := stream.Recv()
		at := time.Now()
		b.mu.Lock()
		job := r.GetBooking().GetJob()
		if _, known := b.seen[job]; !known && r.GetBooking().GetWhen() != nil {
			b.seen[job] = at
		}
		b.err = err
		b.mu.Unlock()
		select {
		case b.news <- struct{}{}:
		default: // whoever waits will look anyhow
		}
		if err != nil {
			return
		}
	}
}

// wait gives when a job's booking was seen.
func (b *board) wait(ctx context.Context, job string) (time.Time, error) {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	for {
		b.mu.Lock()
		at, ok := b.seen[job]
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
			return time.Time{}, errors.Join(errNoBooking, ctx.Err())
		}
	}
}

var errNoBooking = errors.New("the board shows no booking")
