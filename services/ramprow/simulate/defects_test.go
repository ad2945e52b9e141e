package simulate

import (
	"context"
	"crypto/sha256"
	"strings"
	"sync"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/sitelog"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// unfenced appends behind whatever is there, like a writer that publishes
// without saying which sequence it expects.
type unfenced struct{ sitelog.Log }

func (l unfenced) Append(ctx context.Context, s sitelog.Subject, expected uint64, m sitelog.Message) (uint64, error) {
	last, err := l.Last(ctx, s)
	if err != nil {
		return 0, err
	}
	return l.Log.Append(ctx, s, last.Sequence, m)
}

// hasty says that a message is on disk before it is. A stream that holds one
// site makes its sequences predictable.
type hasty struct{ sitelog.Log }

func (l hasty) Append(ctx context.Context, s sitelog.Subject, expected uint64, m sitelog.Message) (uint64, error) {
	go func() { _, _ = l.Log.Append(ctx, s, expected, m) }()
	return expected + 1, nil
}

// bookmarks keep how far logs were read beside the log instead of in it, and as
// soon as something was handed over.
type bookmarks struct {
	mu   sync.Mutex
	read map[string]map[string]uint64 // by service, by followed service
}

func newBookmarks() *bookmarks { return &bookmarks{read: map[string]map[string]uint64{}} }

func (b *bookmarks) of(replica string) func(followed string, sequence uint64) uint64 {
	service, _, _ := strings.Cut(replica, "/")
	return func(followed string, sequence uint64) uint64 {
		b.mu.Lock()
		defer b.mu.Unlock()
		if b.read[service] == nil {
			b.read[service] = map[string]uint64{}
		}
		b.read[service][followed] = max(b.read[service][followed], sequence)
		return b.read[service][followed]
	}
}

type bookmarked struct {
	sitelog.Log
	keep func(followed string, sequence uint64) uint64
}

func (l bookmarked) Follow(ctx context.Context, s sitelog.Subject, after uint64, fn func(sitelog.Record) error) error {
	return l.Log.Follow(ctx, s, l.keep(s.Service, after), func(r sitelog.Record) error {
		l.keep(s.Service, r.Sequence)
		return fn(r)
	})
}

// forgetful hides request ids from a writer that loads its log. Since ids are
// part of what is hashed, the writer sees a chain of its own, which is turned
// back into the true one as it appends.
type forgetful struct {
	sitelog.Log
	mu           sync.Mutex
	shown, truly map[string]string // hash as the writer knows it by the true one, and back
}

func newForgetful(log sitelog.Log) *forgetful {
	return &forgetful{Log: log, shown: map[string]string{}, truly: map[string]string{}}
}

func (l *forgetful) Read(ctx context.Context, s sitelog.Subject, after uint64, fn func(sitelog.Record) error) error {
	return l.Log.Read(ctx, s, after, func(r sitelog.Record) error {
		hidden, err := l.rewrite(r.Data, l.shown, func(c *logv1.Commit) {
			for _, e := range c.GetEntries() {
				if cause := e.GetCommand(); cause != nil && after == 0 {
					cause.RequestId = ""
				}
			}
		})
		if err != nil {
			return err
		}
		l.pair(r.Data, hidden)
		r.Data = hidden
		return fn(r)
	})
}

func (l *forgetful) Append(ctx context.Context, s sitelog.Subject, expected uint64, m sitelog.Message) (uint64, error) {
	restored, err := l.rewrite(m.Data, l.truly, func(*logv1.Commit) {})
	if err != nil {
		return 0, err
	}
	l.pair(restored, m.Data)
	m.Data = restored
	return l.Log.Append(ctx, s, expected, m)
}

func (l *forgetful) rewrite(payload []byte, hashes map[string]string, change func(*logv1.Commit)) ([]byte, error) {
	commit := &logv1.Commit{}
	if err := proto.Unmarshal(payload, commit); err != nil {
		return nil, err
	}
	l.mu.Lock()
	if other, ok := hashes[string(commit.GetPreviousHash())]; ok {
		commit.PreviousHash = []byte(other)
	}
	l.mu.Unlock()
	change(commit)
	return proto.MarshalOptions{Deterministic: true}.Marshal(commit)
}

func (l *forgetful) pair(truly, shown []byte) {
	a, b := sha256.Sum256(truly), sha256.Sum256(shown)
	l.mu.Lock()
	defer l.mu.Unlock()
	l.shown[string(a[:])] = string(b[:])
	l.truly[string(b[:])] = string(a[:])
}
