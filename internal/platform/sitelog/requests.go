package sitelog

import (
	"crypto/sha256"
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"

	logv1 "ramprow/proto/ramprow/log/v1"
)

// RequestMemory is how long a request_id is remembered at least, counted by
// the time of the commits that follow it. A repeat that comes later is a new
// command. One remembered request takes about 120 bytes.
const RequestMemory = 30 * 24 * time.Hour

// maxRequestID bounds a request_id in bytes, as the protos do.
const maxRequestID = 64

type (
	// digest is half a SHA-256: 128 bits are plenty against mistakes, and keys
	// and values without pointers keep the map out of the garbage collector's way.
	digest [sha256.Size / 2]byte

	// remembered is the place of a first answer.
	remembered struct {
		fingerprint digest
		sequence    uint64
		entry       uint32
		at          int64 // seconds of the commit's time
	}

	// answered is a request with the place of its first answer.
	answered struct {
		key digest
		remembered
	}

	// requests remembers the request ids of one site. What stands in order is
	// never changed, so a snapshot may read a part of it while it grows.
	requests struct {
		order []answered        // oldest first
		gone  uint64            // how many stood before order[0] and are forgotten
		known map[digest]uint64 // the place in order, the forgotten ones counted
	}
)

func newRequests() *requests {
	return &requests{known: map[digest]uint64{}}
}

func keyOf(requestID string) digest {
	sum := sha256.Sum256([]byte(requestID))
	return digest(sum[:len(digest{})])
}

// short gives the part of a fingerprint that is kept in memory.
func short(fingerprint []byte) digest {
	var d digest
	copy(d[:], fingerprint)
	return d
}

// Fingerprint is SHA-256 over a method and its request's deterministic encoding.
func Fingerprint(method string, request proto.Message) ([]byte, error) {
	h := sha256.New()
	_, _ = h.Write([]byte(method)) // a hash never fails
	_, _ = h.Write([]byte{0})
	if request != nil {
		encoded, err := proto.MarshalOptions{Deterministic: true}.Marshal(request)
		if err != nil {
			return nil, fmt.Errorf("encode the request of %s: %w", method, err)
		}
		_, _ = h.Write(encoded)
	}
	return h.Sum(nil), nil
}

func (r *requests) find(requestID string) (remembered, bool) {
	place, ok := r.known[keyOf(requestID)]
	if !ok {
		return remembered{}, false
	}
	return r.order[place-r.gone].remembered, true
}

// remember takes a durable commit's commands, and forgets what has become too old.
func (r *requests) remember(commit *logv1.Commit, sequence uint64) {
	at := commit.GetTime().GetSeconds()
	for i, entry := range commit.GetEntries() {
		cause := commandOf(entry)
		if cause.GetRequestId() == "" {
			continue
		}
		r.add(answered{key: keyOf(cause.GetRequestId()), remembered: remembered{
			fingerprint: short(cause.GetFingerprint()),
			sequence:    sequence,
			entry:       uint32(i),
			at:          at,
		}})
	}
	r.forget(at - int64(RequestMemory/time.Second))
}

func (r *requests) add(a answered) {
	r.known[a.key] = r.gone + uint64(len(r.order))
	r.order = append(r.order, a)
}

// forget drops what is older than a time in seconds. Only the front is looked
// at: after a clock went back, an id is kept longer, never shorter. The memory
// of what is cut off goes when order next grows.
func (r *requests) forget(before int64) {
	for len(r.order) > 0 && r.order[0].at < before {
		if key := r.order[0].key; r.known[key] == r.gone {
			delete(r.known, key)
		}
		r.order = r.order[1:]
		r.gone++
	}
}

// commandOf gives the call behind an entry, be it a command or the release or
// drop of a parked event; nil for anything else.
func commandOf(entry *logv1.Entry) *logv1.CommandCause {
	if cause := entry.GetCommand(); cause != nil {
		return cause
	}
	return entry.GetReaction().GetParking().GetCommand()
}
