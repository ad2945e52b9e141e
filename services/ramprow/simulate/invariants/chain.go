package invariants

import (
	"bytes"
	"crypto/sha256"
)

// chain: commits are numbered from 1 without a gap, and each holds the SHA-256
// of the payload before it.
func chain(f *findings, logs Logs, _ []Ack) {
	for _, service := range logs.services() {
		log := logs[service]
		var hash []byte
		ids := map[string]bool{}
		for i, c := range log {
			if c.GetNumber() != uint64(i+1) {
				f.add("%s at sequence %d is commit %d, not %d", service, c.Sequence, c.GetNumber(), i+1)
			}
			if !bytes.Equal(c.GetPreviousHash(), hash) {
				f.add("%s at sequence %d does not hold the hash of the commit before it", service, c.Sequence)
			}
			if ids[c.GetId()] {
				f.add("%s has commit %s twice", service, c.GetId())
			}
			ids[c.GetId()] = true
			sum := sha256.Sum256(c.Payload)
			hash = sum[:]
		}
	}
}
