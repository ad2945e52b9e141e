package jetstream

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"ramprow/internal/platform/sitelog"
)

// messageTooLong is the server's code for a message above the stream's limit.
const messageTooLong jetstream.ErrorCode = 10054

// TooLargeError says that the server would not take a message. It is a
// sitelog.ErrTooLarge.
type TooLargeError struct {
	Size, Limit int64 // bytes
}

// Error implements error.
func (e *TooLargeError) Error() string {
	return fmt.Sprintf("a message of %d bytes is above the server's limit of %d; raise max_payload or lower the largest commit", e.Size, e.Limit)
}

// Is tells that it is a sitelog.ErrTooLarge.
func (e *TooLargeError) Is(target error) bool { return target == sitelog.ErrTooLarge }

// Subject names a site's subject, as in job.p07.main-street.
func (l *Log) Subject(s sitelog.Subject) string {
	return s.Service + "." + sitelog.Partition(s.Site, l.o.Partitions) + "." + s.Site
}

// StreamName names a service's stream, as in RAMPROW_TORQUE_AUDIT.
func StreamName(service string) string {
	return "RAMPROW_" + strings.ToUpper(strings.ReplaceAll(service, "-", "_"))
}

// stream gives a service's stream, and creates it if nobody has yet.
func (l *Log) stream(ctx context.Context, service string) (jetstream.Stream, error) {
	l.mu.Lock()
	known := l.streams[service]
	l.mu.Unlock()
	if known != nil {
		return known, nil
	}
	if !sitelog.ValidName(service) {
		return nil, fmt.Errorf("jetstream: %q cannot name a log", service)
	}
	var found jetstream.Stream
	err := l.ask(ctx, StreamName(service), func(ctx context.Context) (err error) {
		if found, err = l.js.Stream(ctx, StreamName(service)); errors.Is(err, jetstream.ErrStreamNotFound) {
			found, err = l.js.CreateStream(ctx, l.streamConfig(service))
		}
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("open the stream of %s: %w", service, err)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.streams[service] = found
	return found, nil
}

func (l *Log) streamConfig(service string) jetstream.StreamConfig {
	if service == keyService {
		return l.keyStreamConfig()
	}
	return jetstream.StreamConfig{
		Name:        StreamName(service),
		Description: "Commits of " + service + ", one subject per site",
		Subjects:    []string{service + ".*.*"},
		Retention:   jetstream.LimitsPolicy,
		Storage:     jetstream.FileStorage,
		Discard:     jetstream.DiscardNew, // a full log refuses; it never forgets
		Replicas:    l.o.Replicas,
		DenyDelete:  true,
		DenyPurge:   true,
		// Any replica answers direct reads, and one that lags answers stale.
		AllowDirect: l.o.Replicas == 1,
	}
}

// Append implements sitelog.Log.
func (l *Log) Append(ctx context.Context, s sitelog.Subject, expected uint64, m sitelog.Message) (uint64, error) {
	message := nats.NewMsg(l.Subject(s))
	message.Data = m.Data
	for key, value := range m.Header {
		message.Header[key] = []string{value} // not Set, which is the same today but may canonicalise
	}
	if size, limit := int64(message.Size()), l.nc.MaxPayload(); size > limit {
		return 0, &TooLargeError{Size: size, Limit: limit}
	}
	if _, err := l.stream(ctx, s.Service); err != nil {
		return 0, err
	}
	var ack *jetstream.PubAck
	err := l.ask(ctx, message.Subject, func(ctx context.Context) (err error) {
		ack, err = l.js.PublishMsg(ctx, message, jetstream.WithExpectLastSequencePerSubject(expected))
		return err
	})
	switch {
	case err == nil && ack.Duplicate:
		return 0, fmt.Errorf("%w: the server took it for a duplicate", sitelog.ErrUnknownOutcome)
	case err == nil:
		return ack.Sequence, nil
	}
	return 0, classify(err, int64(message.Size()))
}

// classify sorts a failed publish. Whatever is not clearly a refusal may have
// been stored.
func classify(err error, size int64) error {
	if denied, ok := errors.AsType[*DeniedError](err); ok {
		return denied
	}
	if isLostRace(err) {
		return fmt.Errorf("%w: %w", sitelog.ErrConflict, err)
	}
	if api, ok := errors.AsType[*jetstream.APIError](err); ok && api.ErrorCode == messageTooLong {
		return &TooLargeError{Size: size}
	}
	return fmt.Errorf("%w: %w", sitelog.ErrUnknownOutcome, err)
}

// isLostRace tells whether somebody else has written first. A replicated stream
// says so with another code than a single server does.
func isLostRace(err error) bool {
	api, ok := errors.AsType[*jetstream.APIError](err)
	return ok && (api.ErrorCode == jetstream.JSErrCodeStreamWrongLastSequence || api.ErrorCode == jetstream.JSErrCodeStreamWrongLastSequenceConstant)
}

// Last implements sitelog.Log.
func (l *Log) Last(ctx context.Context, s sitelog.Subject) (sitelog.Record, error) {
	stream, err := l.stream(ctx, s.Service)
	if err != nil {
		return sitelog.Record{}, err
	}
	var raw *jetstream.RawStreamMsg
	err = l.ask(ctx, StreamName(s.Service), func(ctx context.Context) (err error) {
		raw, err = stream.GetLastMsgForSubject(ctx, l.Subject(s))
		return err
	})
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return sitelog.Record{}, nil
	}
	if err != nil {
		return sitelog.Record{}, fmt.Errorf("read the tail of %s: %w", l.Subject(s), err)
	}
	return record(s, raw.Sequence, raw.Header, raw.Data), nil
}

// record leaves out the headers that the server reads, like the guard.
func record(s sitelog.Subject, sequence uint64, header nats.Header, data []byte) sitelog.Record {
	plain := make(map[string]string, len(header))
	for key, values := range header {
		if len(values) > 0 && !strings.HasPrefix(key, "Nats-") {
			plain[key] = values[0]
		}
	}
	return sitelog.Record{Subject: s, Sequence: sequence, Message: sitelog.Message{Header: plain, Data: data}}
}
