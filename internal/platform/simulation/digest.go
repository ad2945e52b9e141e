package simulation

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/anypb"

	"ramprow/internal/platform/sitelog"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// Digest is the SHA-256 of what the records say. Two runs of one seed have the
// same. Left out are the order in which map fields happen to be encoded, and the
// hashes of the chain, which follow from it.
func Digest(records []sitelog.Record) (string, error) {
	h := sha256.New()
	for _, r := range records {
		commit, err := sitelog.DecodeCommit(r.Data)
		if err != nil {
			return "", err
		}
		if err := settleOrder(commit); err != nil {
			return "", err
		}
		text, err := proto.MarshalOptions{Deterministic: true}.Marshal(commit)
		if err != nil {
			return "", err
		}
		_, _ = fmt.Fprintf(h, "%s %d %d\n", r.Subject.Service, r.Sequence, len(text)) // a hash never fails
		_, _ = h.Write(text)
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// settleOrder encodes anew, in a fixed order, what a commit holds packed.
func settleOrder(commit *logv1.Commit) error {
	commit.PreviousHash = nil
	for _, entry := range commit.GetEntries() {
		for _, event := range entry.GetEvents() {
			if err := again(event); err != nil {
				return err
			}
		}
		if answer := entry.GetCommand().GetResponse(); answer != nil {
			if err := again(answer); err != nil {
				return err
			}
		}
	}
	return nil
}

func again(packed *anypb.Any) error {
	m, err := packed.UnmarshalNew()
	if err != nil {
		return err
	}
	packed.Value, err = proto.MarshalOptions{Deterministic: true}.Marshal(m)
	return err
}
