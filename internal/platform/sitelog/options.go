package sitelog

import (
	"crypto/rand"
	"fmt"
	"hash/fnv"
	"log/slog"
	"regexp"
	"time"

	"go.opentelemetry.io/otel/trace"
	"go.opentelemetry.io/otel/trace/noop"
)

// Bounds that hold when Options leaves them at zero.
const (
	DefaultMaxBatch = 256
	// DefaultMaxCommitBytes keeps even the largest commit, four times as large
	// (see reactionRoom), below the 1 MiB that a NATS server takes by default.
	DefaultMaxCommitBytes = 240 << 10
	DefaultQueue          = 1024
	DefaultPartitions     = 16
	DefaultDrainTimeout   = 10 * time.Second
	// A snapshot is due after so many commits or bytes of the log; what comes
	// after it takes some tens of milliseconds to read.
	DefaultSnapshotCommits = 1000
	DefaultSnapshotBytes   = 8 << 20
)

// Options of a Runner. The zero value works.
type Options struct {
	// Now is the clock. Nothing else in this package tells the time.
	Now func() time.Time
	// NewID gives unique identifiers of commits and to decide functions.
	NewID func() string
	// Logger takes what no caller waits for: parked events, failed timers, retries.
	Logger         *slog.Logger
	TracerProvider trace.TracerProvider
	// Committed is told of each commit that is on disk: how long it took to get there
	// and how many decisions it holds. Nil: nobody counts.
	Committed func(took time.Duration, decisions int)
	// MaxBatch bounds the decisions that share one commit.
	MaxBatch int
	// MaxCommitBytes bounds the decisions of a commit. A single one above it is
	// refused. Reactions to one foreign commit stay together and may exceed it;
	// the log must take four times as much.
	MaxCommitBytes int
	// Queue bounds the commands that wait per site.
	Queue int
	// Partitions must be the same for every program on one log.
	Partitions int
	// DrainTimeout bounds how long Close waits for a log that does not answer.
	DrainTimeout time.Duration
	// Active tells whether the reactions, timers and snapshots of a site are this
	// runner's to do, or another replica's; calls are answered in either case. Call
	// Runner.Wake when it may answer otherwise, and now and then. Nil: always.
	Active func(site string) bool
	// Snapshots keeps the states of machines that can be restored; nil: none are kept.
	Snapshots SnapshotStore
	// SnapshotCommits and SnapshotBytes say how much is written between two snapshots.
	SnapshotCommits int
	SnapshotBytes   int
}

func (o Options) withDefaults() Options {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.NewID == nil {
		o.NewID = rand.Text
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	if o.TracerProvider == nil {
		o.TracerProvider = noop.NewTracerProvider()
	}
	o.MaxBatch = positiveOr(o.MaxBatch, DefaultMaxBatch)
	o.MaxCommitBytes = positiveOr(o.MaxCommitBytes, DefaultMaxCommitBytes)
	o.Queue = positiveOr(o.Queue, DefaultQueue)
	o.SnapshotCommits = positiveOr(o.SnapshotCommits, DefaultSnapshotCommits)
	o.SnapshotBytes = positiveOr(o.SnapshotBytes, DefaultSnapshotBytes)
	o.Partitions = positiveOr(o.Partitions, DefaultPartitions)
	if o.DrainTimeout <= 0 {
		o.DrainTimeout = DefaultDrainTimeout
	}
	return o
}

func positiveOr(n, otherwise int) int {
	if n > 0 {
		return n
	}
	return otherwise
}

// Partition gives the partition token of a site's subjects, as in p07. It is
// FNV-1a of the site, so every program finds the same one.
func Partition(site string, partitions int) string {
	h := fnv.New32a()
	_, _ = h.Write([]byte(site))                                                        // a hash never fails
	return partitionName(h.Sum32() % uint32(positiveOr(partitions, DefaultPartitions))) //nolint:gosec // positive and small
}

// PartitionNames gives the tokens of all partitions, in order.
func PartitionNames(partitions int) []string {
	names := make([]string, positiveOr(partitions, DefaultPartitions))
	for i := range names {
		names[i] = partitionName(uint32(i))
	}
	return names
}

func partitionName(number uint32) string { return fmt.Sprintf("p%02d", number) }

// nameForm is what one token of a subject may hold.
var nameForm = regexp.MustCompile(`^[A-Za-z0-9_-]{1,64}$`)

// ValidName tells whether a service or site can name a log.
func ValidName(name string) bool { return nameForm.MatchString(name) }
