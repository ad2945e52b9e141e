package sitelog

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"time"

	"ramprow/internal/platform/statecode"
)

// SnapshotStore keeps the newest snapshot of each site, service and schema. What
// it loses or spoils costs time and nothing else: the log is the truth.
type SnapshotStore interface {
	// Put replaces the snapshot.
	Put(ctx context.Context, s Subject, schema uint32, data []byte) error
	// Get gives the snapshot; nil if there is none.
	Get(ctx context.Context, s Subject, schema uint32) ([]byte, error)
	// Delete removes the snapshot; none is no error.
	Delete(ctx context.Context, s Subject, schema uint32) error
}

// image is a snapshot as it is stored: the service's own state, the ledger, and
// the place in the log that they stand for.
type image struct {
	Service, Site string
	Schema        uint32
	Log           string // id of the first commit
	Sequence      uint64 // of the last commit that is in the state
	Number        uint64 // of that commit
	Hash          []byte // SHA-256 of its payload
	CommittedAt   time.Time
	Positions     map[string]uint64
	Parked        []ParkedEvent
	Requests      []byte // see packRequests
	State         []byte
}

// imageVersion changes with the meaning of an image; its make is counted anyway.
const imageVersion = 1

// pack gives the bytes to store: SHA-256 of the rest, the schema of images, the image.
func (f *image) pack() ([]byte, error) {
	body, err := statecode.Encode(f)
	if err != nil {
		return nil, err
	}
	packed := make([]byte, sha256.Size, sha256.Size+4+len(body))
	packed = binary.LittleEndian.AppendUint32(packed, statecode.Schema[image](imageVersion))
	packed = append(packed, body...)
	sum := sha256.Sum256(packed[sha256.Size:])
	copy(packed, sum[:])
	return packed, nil
}

// unpackImage reads a stored snapshot and checks all that can be checked without the log.
func unpackImage(packed []byte, s Subject, schema uint32) (*image, error) {
	const head = sha256.Size + 4
	if len(packed) < head {
		return nil, errors.New("it is cut off")
	}
	if sum := sha256.Sum256(packed[sha256.Size:]); !bytes.Equal(sum[:], packed[:sha256.Size]) {
		return nil, errors.New("its checksum does not fit")
	}
	if binary.LittleEndian.Uint32(packed[sha256.Size:]) != statecode.Schema[image](imageVersion) {
		return nil, errors.New("another build of the site log wrote it")
	}
	f := &image{}
	if err := statecode.Decode(packed[head:], f); err != nil {
		return nil, err
	}
	switch {
	case f.Service != s.Service || f.Site != s.Site:
		return nil, fmt.Errorf("it is of %s at site %s", f.Service, f.Site)
	case f.Schema != schema:
		return nil, fmt.Errorf("it has schema %d, not %d", f.Schema, schema)
	case f.Sequence == 0 || f.Number == 0 || len(f.Hash) != sha256.Size:
		return nil, errors.New("it names no commit")
	}
	return f, nil
}

// chain gives the place in the log that the image stands for.
func (f *image) chain() *Chain {
	return &Chain{
		Subject: Subject{Service: f.Service, Site: f.Site}, Log: f.Log,
		Number: f.Number, Sequence: f.Sequence,
		Hash: slices.Clone(f.Hash), // a part of it would keep the whole snapshot in memory
	}
}

// ledger gives the runner's own part of the state back.
func (f *image) ledger() (*ledger, error) {
	l := newLedger()
	if f.Positions != nil {
		l.positions = f.Positions
	}
	for _, p := range f.Parked {
		l.parked[p.ID] = p
	}
	var err error
	l.requests, err = unpackRequests(f.Requests)
	return l, err
}

// listParked gives the parked events in the order of their names, so that equal
// states have equal snapshots.
func (l *ledger) listParked() []ParkedEvent {
	parked := make([]ParkedEvent, 0, len(l.parked))
	for _, p := range l.parked {
		parked = append(parked, p)
	}
	slices.SortFunc(parked, func(a, b ParkedEvent) int { return cmp.Compare(a.ID, b.ID) })
	return parked
}

// answeredSize is what one remembered request takes in a snapshot: key and
// fingerprint, sequence, entry, time.
const answeredSize = 2*len(digest{}) + 8 + 4 + 8

func packRequests(order []answered) []byte {
	packed := make([]byte, 0, len(order)*answeredSize)
	for _, a := range order {
		packed = append(packed, a.key[:]...)
		packed = append(packed, a.fingerprint[:]...)
		packed = binary.LittleEndian.AppendUint64(packed, a.sequence)
		packed = binary.LittleEndian.AppendUint32(packed, a.entry)
		packed = binary.LittleEndian.AppendUint64(packed, uint64(a.at)) //nolint:gosec // read back the same way
	}
	return packed
}

func unpackRequests(packed []byte) (*requests, error) {
	if len(packed)%answeredSize != 0 {
		return nil, errors.New("its requests are cut off")
	}
	n := len(packed) / answeredSize
	r := &requests{order: make([]answered, 0, n), known: make(map[digest]uint64, n)}
	for ; len(packed) > 0; packed = packed[answeredSize:] {
		var a answered
		rest := packed[copy(a.key[:], packed):]
		rest = rest[copy(a.fingerprint[:], rest):]
		a.sequence = binary.LittleEndian.Uint64(rest)
		a.entry = binary.LittleEndian.Uint32(rest[8:])
		a.at = int64(binary.LittleEndian.Uint64(rest[12:])) //nolint:gosec // written the same way
		r.add(a)
	}
	return r, nil
}
