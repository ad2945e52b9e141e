package story

import (
	"context"
	"crypto/rand"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
)

// person is somebody of the workshop with the roles that their token carries.
type person struct {
	name string
	role identity.Role
}

// The people of the story.
var (
	owner      = person{"ines", identity.Owner}
	dispatcher = person{"dario", identity.Dispatcher}
	clerk      = person{"clara", identity.PartsClerk}
	technician = person{"tomas", identity.Technician}
	second     = person{"runa", identity.Technician}
)

// as gives a context in which calls are made by a person.
func (t *teller) as(ctx context.Context, p person) context.Context {
	return rpc.WithToken(ctx, t.tokens[p.name])
}

// once is a fresh request_id: a terminal makes one for each entry and keeps it
// until the entry is answered.
func once() string { return rand.Text() }
