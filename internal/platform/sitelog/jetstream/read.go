package jetstream

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"ramprow/internal/platform/sitelog"
)

const (
	// nearReads is how many records are fetched one by one (about 50 µs each)
	// before a consumer is set up (about 5 ms, then 3 µs each).
	nearReads = 32
	// idleConsumer is when the server drops a consumer that nobody reads.
	idleConsumer = 30 * time.Second
	// heartbeat is how often a server says that it has nothing new. Two that are
	// missing mean that the request was lost, as happens on a cluster where the
	// consumer was made on another server just now; it is then made anew. By
	// default that takes ten seconds, for which a site would not be loaded.
	heartbeat = time.Second
)

// Read implements sitelog.Log.
func (l *Log) Read(ctx context.Context, s sitelog.Subject, after uint64, fn func(sitelog.Record) error) error {
	last, err := l.Last(ctx, s)
	if err != nil {
		return err
	}
	for range nearReads {
		if after >= last.Sequence {
			return nil
		}
		r, err := l.next(ctx, s, after)
		if err != nil {
			return err
		}
		if err := fn(r); err != nil {
			return err
		}
		after = r.Sequence
	}
	if after >= last.Sequence {
		return nil
	}
	err = l.consume(ctx, s, after, func(r sitelog.Record) error {
		if err := fn(r); err != nil {
			return err
		}
		if r.Sequence >= last.Sequence {
			return errRead
		}
		return nil
	})
	if errors.Is(err, errRead) {
		return nil
	}
	return err
}

// errRead ends a consumer that has reached its goal.
var errRead = errors.New("read to the end")

// next gives the first record of a subject after a sequence.
func (l *Log) next(ctx context.Context, s sitelog.Subject, after uint64) (sitelog.Record, error) {
	stream, err := l.stream(ctx, s.Service)
	if err != nil {
		return sitelog.Record{}, err
	}
	var raw *jetstream.RawStreamMsg
	err = l.ask(ctx, StreamName(s.Service), func(ctx context.Context) (err error) {
		raw, err = stream.GetMsg(ctx, after+1, jetstream.WithGetMsgSubject(l.Subject(s)))
		return err
	})
	if err != nil {
		return sitelog.Record{}, fmt.Errorf("read %s after %d: %w", l.Subject(s), after, err)
	}
	return record(s, raw.Sequence, raw.Header, raw.Data), nil
}

// Follow implements sitelog.Log.
func (l *Log) Follow(ctx context.Context, s sitelog.Subject, after uint64, fn func(sitelog.Record) error) error {
	return l.consume(ctx, s, after, fn)
}

func (l *Log) consume(ctx context.Context, s sitelog.Subject, after uint64, fn func(sitelog.Record) error) error {
	config := jetstream.OrderedConsumerConfig{
		FilterSubjects:    []string{l.Subject(s)},
		DeliverPolicy:     jetstream.DeliverByStartSequencePolicy,
		OptStartSeq:       after + 1,
		InactiveThreshold: idleConsumer,
	}
	return l.each(ctx, s.Service, config, func(m jetstream.Msg, sequence uint64) error {
		return fn(record(s, sequence, m.Headers(), m.Data()))
	})
}

// KnownSites gives the sites that have a log of the service now, in order. It
// creates nothing.
func (l *Log) KnownSites(ctx context.Context, service string) ([]string, error) {
	var info *jetstream.StreamInfo
	err := l.ask(ctx, StreamName(service), func(ctx context.Context) error {
		stream, err := l.js.Stream(ctx, StreamName(service))
		if err != nil {
			return err
		}
		info, err = stream.Info(ctx, jetstream.WithSubjectFilter(service+".*.*"))
		return err
	})
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("list the sites of %s: %w", service, err)
	}
	sites := make([]string, 0, len(info.State.Subjects))
	for subject := range info.State.Subjects {
		sites = append(sites, siteOf(subject))
	}
	slices.Sort(sites)
	return sites, nil
}

// siteOf gives the last token of a subject.
func siteOf(subject string) string { return subject[strings.LastIndexByte(subject, '.')+1:] }

// each runs an ordered consumer until ctx ends or fn fails.
func (l *Log) each(ctx context.Context, service string, config jetstream.OrderedConsumerConfig,
	fn func(m jetstream.Msg, sequence uint64) error,
) error {
	if _, err := l.stream(ctx, service); err != nil {
		return err
	}
	return l.feed.denials.watchLasting(ctx, StreamName(service), func(ctx context.Context) error {
		return l.eachOf(ctx, service, config, fn)
	})
}

func (l *Log) eachOf(ctx context.Context, service string, config jetstream.OrderedConsumerConfig,
	fn func(m jetstream.Msg, sequence uint64) error,
) error {
	setup, cancel := context.WithTimeout(ctx, l.o.Timeout)
	defer cancel()
	consumer, err := l.feed.js.OrderedConsumer(setup, StreamName(service), config)
	if err != nil {
		return fmt.Errorf("follow %s: %w", service, err)
	}
	messages, err := consumer.Messages(jetstream.PullHeartbeat(heartbeat))
	if err != nil {
		return fmt.Errorf("follow %s: %w", service, err)
	}
	defer messages.Stop()
	// Stop as well when ctx ends, because setting a consumer up again after a
	// break does not look at ctx.
	defer context.AfterFunc(ctx, messages.Stop)()
	for {
		message, err := messages.Next(jetstream.NextContext(ctx))
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			return fmt.Errorf("follow %s: %w", service, err)
		}
		meta, err := message.Metadata()
		if err != nil {
			return fmt.Errorf("follow %s: %w", service, err)
		}
		if err := fn(message, meta.Sequence.Stream); err != nil {
			return err
		}
	}
}
