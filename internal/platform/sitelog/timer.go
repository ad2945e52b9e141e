package sitelog

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/telemetry"
	logv1 "ramprow/proto/ramprow/log/v1"
)

const (
	// maxSleep bounds a sleep, so that a clock that was set forward is noticed.
	maxSleep = time.Minute
	// firstRetry and maxSleep bound the pauses after a Fire that did not help.
	firstRetry = time.Second
)

// alarm wakes a writer for what is due.
type alarm struct {
	timer *time.Timer
	// After a Fire that left its due time in place nothing is fired before
	// notBefore, and pause doubles.
	notBefore time.Time
	pause     time.Duration
}

// fireDue lets the service do what is due, as the first thing of a fresh
// batch: entries share the batch's time, and an older one may lie before the due time.
func (w *writer[S]) fireDue() {
	if w.machine.Due == nil || len(w.batch.entries) > 0 || w.mustReload() || w.draining || !w.active {
		return
	}
	due, pending, err := w.due()
	if err == nil && !pending {
		w.alarm.timer.Stop()
		return
	}
	now := w.batch.now(w.o)
	if err == nil && due.After(now) {
		w.alarm.pause = 0
		w.alarm.timer.Reset(min(due.Sub(now), maxSleep))
		return
	}
	if now.Before(w.alarm.notBefore) {
		w.alarm.timer.Reset(w.alarm.notBefore.Sub(now))
		return
	}
	if err == nil {
		err = w.fire(due, now)
	}
	if err != nil {
		w.backOff(now, due, err)
	}
}

func (w *writer[S]) due() (due time.Time, pending bool, err error) {
	err = guarded(func() error {
		due, pending = w.machine.Due(w.state)
		return nil
	})
	return due, pending, err
}

// fire adds what is due to the batch. The error says that it will be due again
// at once.
func (w *writer[S]) fire(due, now time.Time) error {
	d := draft{entry: &logv1.Entry{Cause: &logv1.Entry_Timer{Timer: &logv1.TimerCause{Due: timestamppb.New(due)}}}}
	recalled, err := w.recalling(func() error {
		messages, err := w.machine.Fire(w.state, w.input(Actor{}))
		if err != nil {
			return err
		}
		return d.fill(messages)
	})
	if err == nil {
		err = d.fillWith(recalled)
	}
	if err != nil {
		return err
	}
	if len(d.messages) == 0 {
		return fmt.Errorf("fire brought nothing about for %s", due.Format(time.RFC3339))
	}
	size := proto.Size(d.entry)
	if size > w.o.MaxCommitBytes {
		return fmt.Errorf("what is due takes %d bytes, more than the %d of a commit", size, w.o.MaxCommitBytes)
	}
	ctx, span := w.tracer.Start(context.Background(), "fire "+w.subject.Service)
	if span.IsRecording() {
		span.SetAttributes(append(w.mine(d.messages), telemetry.About(d.messages...))...)
	}
	stamp(ctx, d.entry)
	w.batch.spans = append(w.batch.spans, span)
	if err := w.apply(d, size); err != nil {
		return err
	}
	next, pending, err := w.due()
	if err != nil {
		return err
	}
	if pending && !next.After(now) {
		return fmt.Errorf("fire left %s due", next.Format(time.RFC3339))
	}
	w.alarm.pause = 0
	return nil
}

// backOff keeps a service that does not get rid of what is due from spinning.
func (w *writer[S]) backOff(now, due time.Time, err error) {
	w.alarm.pause = min(max(2*w.alarm.pause, firstRetry), maxSleep)
	w.alarm.notBefore = now.Add(w.alarm.pause)
	w.alarm.timer.Reset(w.alarm.pause)
	w.o.Logger.Error("timer failed; trying again later", "service", w.subject.Service, "site", w.subject.Site,
		"due", due, "pause", w.alarm.pause, "error", err)
}
