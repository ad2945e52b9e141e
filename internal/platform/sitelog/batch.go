package sitelog

import (
	"time"

	"go.opentelemetry.io/otel/trace"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	logv1 "ramprow/proto/ramprow/log/v1"
)

type (
	// batch is the commit under construction, and who waits for it. A batch
	// without entries is answered after a look at the tail of the log.
	batch[S any] struct {
		time    time.Time // of all its entries, fixed by the first one
		entries []*logv1.Entry
		bytes   int
		waiting []waiting[S]
		spans   []trace.Span // of reactions and timers, which no caller waits for
		closed  bool         // the next decision did not fit
	}

	// waiting is a decided task that is answered once the batch is on disk.
	waiting[S any] struct {
		task     *task[S]
		response proto.Message
		err      error
	}
)

func (b *batch[S]) empty() bool { return len(b.entries) == 0 && len(b.waiting) == 0 }

func (b *batch[S]) full(o Options) bool {
	return b.closed || len(b.entries) >= o.MaxBatch || len(b.waiting) >= o.MaxBatch || b.bytes >= o.MaxCommitBytes
}

// now gives the time at which the next decision is made. All entries of one
// commit share one time, because replay must show Evolve the same.
func (b *batch[S]) now(o Options) time.Time {
	if len(b.entries) == 0 {
		b.time = o.Now().UTC().Round(0)
	}
	return b.time
}

func (b *batch[S]) add(entry *logv1.Entry, size int) {
	b.entries = append(b.entries, entry)
	b.bytes += size
}

// endSpans closes the spans that no caller closes.
func (b *batch[S]) endSpans(err error) {
	for _, span := range b.spans {
		endSpan(span, err)
	}
	b.spans = nil
}

// seal makes the commit that follows a chain.
func (b *batch[S]) seal(chain Chain, id string) *logv1.Commit {
	return &logv1.Commit{
		Id:           id,
		Service:      chain.Subject.Service,
		Site:         chain.Subject.Site,
		Number:       chain.Number + 1,
		PreviousHash: chain.Hash,
		Time:         timestamppb.New(b.time),
		Entries:      b.entries,
	}
}
