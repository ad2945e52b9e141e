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

	// requests remembers the request ids of one site.
	requests struct {
		known map[digest]remembered
		order []digest // oldest first; order[gone:] is alive
		gone  int
	}
)

func newRequests() *requests {
	return &requests{known: map[digest]remembered{}}
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
	return place, ok
}

// remember takes a durable commit's commands, and forgets what has become too old.
func (r *requests) remember(commit *logv1.Commit, sequence uint64) {
	at := commit.GetTime().GetSeconds()
	for i, entry := range commit.GetEntries() {
		cause := commandOf(entry)
		if cause.GetRequestId() == "" {
			continue
		}
		key := keyOf(cause.GetRequestId())
		if _, again := r.known[key]; !again {
			r.order = append(r.order, key)
		}
		r.known[key] = remembered{
			fingerprint: short(cause.GetFingerprint()),
			sequence:    sequence,
			entry:       uint32(i), //nolint:gosec // bounded by MaxBatch
			at:          at,
		}
	}
	r.forget(at - int64(RequestMemory/time.Second))
}

// forget drops what is older than a time in seconds. Only the front is looked
// at: after a clock went back, an id is kept longer, never shorter.
func (r *requests) forget(before int64) {
	for r.gone < len(r.order) && r.known[r.order[r.gone]].at < before {
		delete(r.known, r.order[r.gone])
		r.gone++
	}
	if r.gone > len(r.order)/2 && r.gone > 1024 {
		r.order = append([]digest(nil), r.order[r.gone:]...)
		r.gone = 0
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
