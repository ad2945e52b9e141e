package readmodel

import (
	"errors"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/sitelog"
)

// Key names one row of a site: the model it belongs to and its identifier.
type Key struct{ Model, ID string }

// IndexEntry places a row in a named index of its model. Rows are listed in the
// order of the bytes of Order, and rows of the same Order by their identifier.
type IndexEntry struct{ Name, Order string }

// Row is what readers get, and the indexes that list it.
type Row struct {
	Value proto.Message
	Index []IndexEntry
}

// Projection says how a service's state becomes rows. All functions are pure.
type Projection[S any] struct {
	// Version stands in every key. Raise it when Row gives something else for the
	// same state: the new rows are built beside the old ones, which the previous
	// program goes on reading.
	Version int
	// Machine gives the service's name, New and Evolve, and Restore for the
	// snapshots that its writer takes; nothing else of it is used.
	Machine sitelog.Machine[S]
	// Models names every model that Touched and Keys speak of.
	Models []string
	// Touched gives the rows that an event changed, made or removed. It is asked
	// after Evolve, so what is needed to find a removed row must still be there.
	Touched func(state S, e sitelog.Event) []Key
	// Row renders one row; false if there is none (any more).
	Row func(state S, key Key) (Row, bool)
	// Keys gives all rows of a model that follow from the state alone.
	Keys func(state S, model string) []Key
	// Archive is nil if nothing ever leaves the state.
	Archive *Archive[S]
}

func (p Projection[S]) validate() error {
	switch {
	case p.Machine.Service == "" || p.Machine.New == nil || p.Machine.Evolve == nil:
		return errors.New("readmodel: a projection needs a machine with Service, New and Evolve")
	case p.Version < 1:
		return errors.New("readmodel: a projection's version starts at 1")
	case len(p.Models) == 0 || p.Touched == nil || p.Row == nil || p.Keys == nil:
		return errors.New("readmodel: a projection needs Models, Touched, Row and Keys")
	}
	return nil
}

// allKeys gives the rows of every model.
func (p Projection[S]) allKeys(state S) []Key {
	var keys []Key
	for _, model := range p.Models {
		keys = append(keys, p.Keys(state, model)...)
	}
	return keys
}

// rendered is a row as it is stored; nil value: there is none.
type rendered struct {
	key   Key
	value []byte // an envelope
	index []member
}

func (p Projection[S]) render(state S, key Key) (rendered, error) {
	row, ok := p.Row(state, key)
	if !ok {
		return rendered{key: key}, nil
	}
	value, index, err := packRow(key, row)
	return rendered{key: key, value: value, index: index}, err
}
