package sitelog

import (
	"errors"
	"fmt"
	"time"

	"ramprow/internal/platform/fault"
)

// What a Log can answer beside success. Anything else counts as
// ErrUnknownOutcome: the writer reads the tail before it goes on.
var (
	// ErrConflict says that the subject's last sequence is not the expected one.
	ErrConflict = errors.New("sitelog: the subject has grown meanwhile")
	// ErrUnknownOutcome says that the message may or may not be in the log.
	ErrUnknownOutcome = errors.New("sitelog: the outcome of the append is unknown")
	// ErrTooLarge says that the log will never take a message of this size.
	ErrTooLarge = errors.New("sitelog: the message is larger than the log takes")
)

// errStop ends a Read or Follow early, from inside.
var errStop = errors.New("sitelog: enough was read")

// Stable reasons of the faults that a Runner itself gives.
const (
	ReasonBadSite          = "SITE_NAME_INVALID"
	ReasonBadCommand       = "COMMAND_INVALID"
	ReasonReused           = "REQUEST_ID_REUSED"
	ReasonQueueFull        = "SITE_QUEUE_FULL"
	ReasonContended        = "SITE_LOG_CONTENDED"
	ReasonLogUnavailable   = "SITE_LOG_UNAVAILABLE"
	ReasonLogDamaged       = "SITE_LOG_DAMAGED"
	ReasonShuttingDown     = "SITE_WRITER_STOPPED"
	ReasonTooLarge         = "COMMIT_TOO_LARGE"
	ReasonDecisionPanicked = "DECISION_PANICKED"
	ReasonNotParked        = "EVENT_NOT_PARKED"
	ReasonWaitEnded        = "WAIT_ENDED"
)

// DamagedError says that a site's log cannot be built upon: a record is
// missing, changed, doubled or unreadable. It stops that site's writer.
type DamagedError struct {
	Subject  Subject
	Sequence uint64 // of the first record that does not fit; 0 if there is none
	Reason   string
}

// Error implements error.
func (e *DamagedError) Error() string {
	return fmt.Sprintf("the log of %s at site %s is damaged at sequence %d: %s",
		e.Subject.Service, e.Subject.Site, e.Sequence, e.Reason)
}

func damaged(s Subject, sequence uint64, format string, args ...any) *DamagedError {
	return &DamagedError{Subject: s, Sequence: sequence, Reason: fmt.Sprintf(format, args...)}
}

// outward turns the error that stopped a writer into what its callers get.
// Unavailable and not Internal, because the text must reach the person: only
// the named record tells where to look.
func outward(s Subject, err error) error {
	if d, ok := errors.AsType[*DamagedError](err); ok {
		return fault.New(fault.Unavailable, ReasonLogDamaged,
			"%s of site %s does not write: its log is damaged at sequence %d (%s); restore that record from a copy, then start the service again",
			d.Subject.Service, d.Subject.Site, d.Sequence, d.Reason).
			With("service", d.Subject.Service).With("site", d.Subject.Site).
			With("sequence", fmt.Sprint(d.Sequence)).Because(err)
	}
	if errors.Is(err, ErrTooLarge) {
		return fault.New(fault.Unavailable, ReasonTooLarge,
			"%s of site %s does not write: its log refuses a commit for its size; raise the server's max_payload, then start the service again",
			s.Service, s.Site).Because(err)
	}
	return fault.New(fault.Unavailable, ReasonShuttingDown,
		"%s of site %s has stopped before it could answer; send the same request_id again", s.Service, s.Site).Because(err)
}

func queueFull(s Subject, bound int) error {
	e := fault.New(fault.Exhausted, ReasonQueueFull,
		"%d commands of %s already wait at site %s; try again shortly", bound, s.Service, s.Site)
	e.RetryAfter = 100 * time.Millisecond
	return e
}

func contended(s Subject, tries int) error {
	return fault.New(fault.Conflict, ReasonContended,
		"another writer of %s at site %s was first %d times; send the same request_id again", s.Service, s.Site, tries)
}

func reused(requestID string) error {
	return fault.New(fault.Precondition, ReasonReused,
		"request_id %s was used for another request; take a fresh one", requestID).With("request_id", requestID)
}

func logAway(s Subject, cause error) error {
	e := fault.New(fault.Unavailable, ReasonLogUnavailable,
		"the log of %s at site %s cannot be reached; the outcome is not known yet: send the same request_id again",
		s.Service, s.Site).Because(cause)
	e.RetryAfter = time.Second
	return e
}

func badSite(site string) error {
	return fault.New(fault.Invalid, ReasonBadSite,
		"%q cannot name a site: use 1 to 64 letters, digits, hyphens and underscores", site).With("site", site)
}

func asDamage(err error) (*DamagedError, bool) { return errors.AsType[*DamagedError](err) }
