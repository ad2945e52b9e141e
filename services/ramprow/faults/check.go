package faults

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"time"

	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
	"ramprow/services/ramprow/simulate/invariants"
	"ramprow/services/ramprow/stack"
	"ramprow/services/terminal"
)

const (
	lookAgain = 250 * time.Millisecond
	// restAfter is how often in a row the logs must be found as they were before.
	restAfter = 4
	// followPatience is how long logs at rest may lack what followers owe them. A
	// follower that has to be set up anew may wait some seconds before it reads on.
	followPatience = 40 * time.Second
)

// check asks the logs, when they have come to rest, for everything that callers
// were told, and for every rule; then the read models for what the logs say.
func (f *field) check(ctx context.Context) error {
	if err := f.town.running(ctx); err != nil {
		return err
	}
	for _, end := range f.town.unexpected() {
		f.tally.violated("%s", end)
	}
	found, err := f.checkLogs(ctx)
	if err != nil {
		return err
	}
	f.report.Violations = append(f.report.Violations, found...)
	for _, role := range stack.Roles() {
		for _, site := range f.sites {
			if err := f.checkRole(ctx, role, site); err != nil {
				return fmt.Errorf("check %s at %s: %w", role.Name, site, err)
			}
		}
	}
	return nil
}

// checkLogs checks logs at rest; what followers have not done yet, they may still do.
func (f *field) checkLogs(ctx context.Context) (found []string, err error) {
	deadline := time.NewTimer(followPatience)
	defer deadline.Stop()
	for {
		ends, err := f.rest(ctx)
		if err != nil {
			return nil, err
		}
		if found, err = f.violations(ctx); err != nil || len(found) == 0 {
			return nil, err
		}
		select {
		case <-deadline.C:
			now, err := f.ends(ctx)
			if err != nil || maps.Equal(ends, now) {
				return found, err
			}
			deadline.Reset(followPatience)
		default:
		}
	}
}

// rest waits until no log grows any more.
func (f *field) rest(ctx context.Context) (map[seat]uint64, error) {
	tick := time.NewTicker(lookAgain)
	defer tick.Stop()
	var before map[seat]uint64
	for quiet := 0; quiet < restAfter; {
		now, err := f.ends(ctx)
		if err != nil {
			return nil, err
		}
		if quiet++; !maps.Equal(before, now) {
			before, quiet = now, 0
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	return before, nil
}

// ends gives the newest sequence of every log.
func (f *field) ends(ctx context.Context) (map[seat]uint64, error) {
	ends := map[seat]uint64{}
	for _, site := range f.sites {
		for _, role := range terminal.RoleNames() {
			err := eventually(ctx, "the log of "+role, func(ctx context.Context) error {
				last, err := f.town.backend.Log.Last(ctx, sitelog.Subject{Service: role, Site: site})
				ends[seat{role: role, site: site}] = last.Sequence
				return err
			})
			if err != nil {
				return nil, err
			}
		}
	}
	return ends, nil
}

// violations reads all logs and judges them.
func (f *field) violations(ctx context.Context) ([]string, error) {
	var found []string
	f.report.Commits, f.report.Events, f.report.Invoices, f.report.Late = 0, 0, 0, 0
	for _, site := range f.sites {
		var records []sitelog.Record
		for _, role := range terminal.RoleNames() {
			if err := f.town.backend.Log.Read(ctx, sitelog.Subject{Service: role, Site: site}, 0, func(r sitelog.Record) error {
				records = append(records, r)
				return nil
			}); err != nil {
				return nil, fmt.Errorf("read %s at %s: %w", role, site, err)
			}
		}
		logs, err := invariants.Read(records)
		if err != nil {
			return nil, err
		}
		for _, v := range invariants.Check(logs, f.tally.acks[site]) {
			found = append(found, site+": "+v.String())
		}
		found = append(found, f.strangers(site, logs)...)
		f.countLogs(logs)
	}
	return found, nil
}

// countLogs counts what a site's logs hold.
func (f *field) countLogs(logs invariants.Logs) {
	for _, log := range logs {
		f.report.Commits += len(log)
		for _, c := range log {
			for _, events := range c.Events {
				f.report.Events += len(events)
				for _, m := range events {
					if _, ok := m.(*jobv1.InvoiceClosed); ok {
						f.report.Invoices++
					}
				}
			}
		}
	}
}

// strangers finds requests in the logs that nobody made there. A refused one may
// be there: an earlier attempt of it was still under way, and came late.
func (f *field) strangers(site string, logs invariants.Logs) []string {
	var found []string
	for role, log := range logs {
		for _, c := range log {
			for _, e := range c.GetEntries() {
				id := e.GetCommand().GetRequestId()
				if id == "" {
					continue
				}
				if asked, ok := f.tally.sent[seat{role: role, site: site}.key(id)]; !ok {
					found = append(found, fmt.Sprintf("%s: %s has request %s at sequence %d, which nobody made", site, role, id, c.Sequence))
				} else if asked.refused {
					f.report.Late++
				}
			}
		}
	}
	return found
}

// checkRole verifies a log with its snapshot, and compares its read models with it.
func (f *field) checkRole(ctx context.Context, role stack.Role, site string) error {
	if _, err := role.Verify(ctx, f.town.backend, site, nil); err != nil {
		if d, ok := errors.AsType[*sitelog.DamagedError](err); ok {
			f.report.Violations = append(f.report.Violations, d.Error())
			return nil
		}
		return err
	}
	var differences []string
	err := eventually(ctx, "the read models of "+role.Name, func(ctx context.Context) (err error) {
		differences, err = role.Compare(ctx, f.town.backend, site)
		return err
	})
	if err != nil && readmodel.StandsElsewhere(err) {
		differences, err = []string{err.Error()}, nil
	}
	for _, d := range differences {
		f.report.Violations = append(f.report.Violations, fmt.Sprintf("%s: read models of %s: %s", site, role.Name, d))
	}
	f.report.Models++
	return err
}
