package job

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/personal"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// keyOfJob names the key of what is learnt once a job has its number.
func keyOfJob(name string) string { return "j" + numberOf(name) }

// keyOfOpening names the key of what a job is opened with: it has no number yet,
// and the same request must find the same key.
func keyOfOpening(requestID string) string {
	sum := sha256.Sum256([]byte(requestID))
	return "o" + hex.EncodeToString(sum[:12])
}

// keyOfCars names the site's key of the cars' pseudonyms. It belongs to no job,
// so no erasure destroys it.
const keyOfCars = "cars"

// sealing gives the key by which personal data is sealed; nil where there is no vault.
func (s *Server) sealing(ctx context.Context, id string) (*personal.Key, error) {
	if s.keys == nil {
		return nil, nil //nolint:nilnil // nothing is sealed
	}
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	key, err := s.keys.Make(ctx, who.Site, id)
	if err != nil {
		return nil, keyFault(err)
	}
	return key, nil
}

// sealed is a message with its personal data sealed. A request is remembered by
// a sum of this form: one of the plain form would tell whoever guesses a name
// that he guessed right.
func sealed[M proto.Message](key *personal.Key, message M) M {
	if key == nil {
		return message
	}
	return personal.Seal(key, message)
}

// pseudonymous gives the car of an opened job its pseudonym, before its VIN is
// sealed. The request has none, so that a repeated one is the same.
func pseudonymous(cars *personal.Key, events []proto.Message) []proto.Message {
	if cars == nil {
		return events
	}
	for _, e := range events {
		if e, ok := e.(*jobv1.JobOpened); ok {
			e.Vehicle.Pseudonym = cars.Pseudonym(e.GetVehicle().GetVin())
		}
	}
	return events
}

// sealEvents seals what a decision learnt of people. Invoices are not among it:
// they are kept whole.
func sealEvents(key *personal.Key, events []proto.Message) []proto.Message {
	for i, e := range events {
		switch e := e.(type) {
		case *jobv1.JobOpened:
			events[i] = sealed(key, e)
		case *jobv1.WorkAuthorised:
			events[i] = sealed(key, e)
		case *jobv1.BillingSet:
			events[i] = sealed(key, e)
		}
	}
	return events
}

// reader fetches the keys of a job, and gives what opens its personal data within a decision.
func (s *Server) reader(ctx context.Context, name string) (func(*Job) (*Job, error), error) {
	j, _, err := s.look(ctx, name)
	if err != nil {
		return nil, err
	}
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	ids := append(personal.IDs(j.record()), keyOfJob(name))
	o, err := s.keys.Given(ctx, who.Site, ids)
	if err != nil {
		return nil, keyFault(err)
	}
	return func(j *Job) (*Job, error) {
		opened := j.opened(o)
		if err := o.Err(); err != nil {
			return nil, keyFault(err)
		}
		return opened, nil
	}, nil
}

// read gives a job with its personal data opened, for what is computed of it.
func (s *Server) read(ctx context.Context, j *Job) (*Job, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	o, err := s.keys.Given(ctx, who.Site, personal.IDs(j.record()))
	if err != nil {
		return nil, keyFault(err)
	}
	return j.opened(o), nil
}

// opened is a copy with what says who the customer is in plain words.
func (j *Job) opened(o *personal.Opener) *Job {
	c := j.clone()
	c.Vehicle, c.Customer, c.Billing = personal.Open(o, j.Vehicle), personal.Open(o, j.Customer), personal.Open(o, j.Billing)
	c.Complaint = o.Text(j.Complaint)
	for i, a := range j.Authorised {
		c.Authorised[i] = personal.Open(o, a)
	}
	return c
}

// keyFault says what to do when a key is not given.
func keyFault(err error) error {
	switch {
	case errors.Is(err, personal.ErrDestroyed):
		return fault.New(fault.Precondition, "PERSONAL_DATA_ERASED", "who the customer is was erased, and nothing more can be kept of him under this job").Because(err)
	case errors.Is(err, personal.ErrNone):
		return fault.New(fault.Precondition, "PERSONAL_KEY_MISSING",
			"who the customer is cannot be read: its key is not in the stream RAMPROW_KEYS. Bring the stream back from a copy (deploy/RECOVERY.md)").Because(err)
	}
	return fault.New(fault.Unavailable, "PERSONAL_KEYS_UNAVAILABLE", "the keys of personal data cannot be asked now; try again").Because(err)
}
