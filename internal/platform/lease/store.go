package lease

import (
	"context"
	"encoding/json"
	"errors"
)

// ErrTaken says that an entry is no longer as it was expected to be.
var ErrTaken = errors.New("somebody else wrote the lease")

// Entry is what a store holds under a key.
type Entry struct {
	Key   string
	Value []byte
	// Revision is another one after each write; 0 if there is no entry.
	Revision uint64
}

// Store is shared by all replicas. It may forget everything at any time: leases
// are then taken anew.
type Store interface {
	// Get gives an entry, with Revision 0 if there is none.
	Get(ctx context.Context, key string) (Entry, error)
	// Put writes an entry whose revision is still the expected one; ErrTaken otherwise.
	Put(ctx context.Context, key string, value []byte, expected uint64) (revision uint64, err error)
	// Watch gives the entries of a group, which is what stands before the point in
	// their keys, and goes on with changes until ctx ends or fn fails. It may also
	// break off with an error; what it missed is then given by the next call.
	Watch(ctx context.Context, group string, fn func(Entry) error) error
}

// Holder is one replica.
type Holder struct {
	ID string `json:"id"` // unique to the process
	// Address is where its calls are answered, as host:port.
	Address string `json:"address"`
}

// vacant is what a holder leaves behind.
func (h Holder) vacant() bool { return h.ID == "" }

func (h Holder) encode() ([]byte, error) { return json.Marshal(h) }

// holderIn reads an entry. What nobody can read is held by nobody.
func holderIn(e Entry) Holder {
	var h Holder
	if e.Revision == 0 || json.Unmarshal(e.Value, &h) != nil {
		return Holder{}
	}
	return h
}
