package readmodel

import (
	"context"
	"errors"

	"ramprow/internal/platform/fault"
)

// Rebuild drops the rows of one site, in this projection's version, and writes
// them anew from the log, while reads and projectors (here or in another
// process) go on: readers use their fallback meanwhile, projectors wait. It
// needs no Run. progress, if not nil, is told the rows written so far and all.
// Errors: NotFound (no such log), Conflict (a rebuild is under way), Unavailable.
func (p *Projector[S]) Rebuild(ctx context.Context, name string, progress func(done, total int)) error {
	s := newSite(p.Projection, p.Log, name)
	last, err := p.Log.Last(ctx, s.subject)
	if err != nil {
		return unavailable(err)
	}
	if last.Sequence == 0 {
		return noLog(s.subject)
	}
	// A rebuild is asked for when something is in doubt, so it trusts no snapshot.
	if _, err := p.begin(ctx, s, position{}, nil); err != nil {
		return unavailable(err)
	}
	if err := p.Log.Read(ctx, s.subject, 0, s.fold); err != nil {
		return err
	}
	err = s.fill(ctx, p.Store, filling{force: true, progress: progress})
	switch {
	case errors.Is(err, errClaimed), errors.Is(err, errLost), errors.Is(err, errRaced):
		return fault.New(fault.Conflict, "REBUILD_UNDER_WAY",
			"another process writes these rows anew just now; try again in a moment").Because(err)
	case err != nil:
		return away(err)
	}
	return nil
}
