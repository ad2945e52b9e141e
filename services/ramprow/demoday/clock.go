package demoday

import (
	"context"
	"time"
)

// Clock runs faster than the wall's, from a given moment on.
type Clock struct {
	began, shown time.Time
	speed        float64
}

// NewClock shows a moment now, and goes so many times as fast as real time.
func NewClock(shown time.Time, speed float64) *Clock {
	return &Clock{began: time.Now(), shown: shown, speed: speed}
}

// Now is the clock's time.
func (c *Clock) Now() time.Time {
	return c.shown.Add(time.Duration(float64(time.Since(c.began)) * c.speed))
}

// wait lets an amount of the clock's time pass.
func (c *Clock) wait(ctx context.Context, length time.Duration) error {
	timer := time.NewTimer(time.Duration(float64(length) / c.speed))
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (c *Clock) until(ctx context.Context, at time.Time) error { return c.wait(ctx, at.Sub(c.Now())) }
