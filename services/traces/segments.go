package traces

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"google.golang.org/protobuf/proto"

	tracesv1 "ramprow/proto/ramprow/traces/v1"
)

// segments are the spans of a store in files, so that they outlive the process.
// Spans are appended as they come and never changed; the oldest file is deleted
// when all together are too large, or when it is too old. Nothing is synced: a
// power cut costs the last seconds of traces, and nothing else.
type segments struct {
	dir    string
	limits Limits
	log    *slog.Logger

	mu      sync.Mutex
	files   []segment // oldest first; the last one is written to
	current *os.File
	failing bool // the last write failed, and was told
}

type segment struct {
	path   string
	number int
	size   int64
	newest time.Time
}

const (
	segmentForm  = "traces-%08d.seg"
	segmentParts = 8 // the bytes of a store are spread over so many files
	frameHead    = 8 // length and checksum of a frame, 4 bytes each, little-endian
	maxFrame     = 64 << 20
)

// OpenStore makes a store that is kept in a folder, and reads back what is there.
func OpenStore(dir string, limits Limits, now func() time.Time, log *slog.Logger) (*Store, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("traces: make the folder: %w", err)
	}
	s := NewStore(limits, now)
	files := &segments{dir: dir, limits: s.limits, log: log}
	if err := files.restore(s); err != nil {
		return nil, err
	}
	s.counts = Counts{} // they are of this process
	s.files = files
	return s, nil
}

// Close ends the writing of files.
func (s *Store) Close() error {
	s.mu.Lock()
	files := s.files
	s.files = nil
	s.mu.Unlock()
	if files == nil {
		return nil
	}
	files.mu.Lock()
	defer files.mu.Unlock()
	if files.current == nil {
		return nil
	}
	if err := files.current.Close(); err != nil {
		return fmt.Errorf("traces: close the file: %w", err)
	}
	return nil
}

// restore reads every file, oldest first. What is damaged ends its file: a crash
// cuts a last frame off.
func (g *segments) restore(s *Store) error {
	names, err := filepath.Glob(filepath.Join(g.dir, "traces-*.seg"))
	if err != nil {
		return fmt.Errorf("traces: list the files: %w", err)
	}
	slices.Sort(names)
	for _, path := range names {
		seg := segment{path: path}
		if _, err := fmt.Sscanf(filepath.Base(path), segmentForm, &seg.number); err != nil {
			continue // not one of these
		}
		if err := seg.read(s); err != nil {
			g.log.Warn("a file of traces ends early; the rest of it is left out", "file", path, "error", err)
		}
		g.files = append(g.files, seg)
	}
	s.trim(s.now())
	g.discard(s.now())
	return nil
}

var errFrame = errors.New("a frame is damaged")

func (seg *segment) read(s *Store) error {
	file, err := os.Open(seg.path)
	if err != nil {
		return err
	}
	defer func() { _ = file.Close() }() // it was only read
	info, err := file.Stat()
	if err != nil {
		return err
	}
	seg.size = info.Size()
	for {
		frame, err := nextFrame(file)
		if err != nil {
			if errors.Is(err, io.EOF) {
				return nil
			}
			return err
		}
		if err := unpack(frame, func(at time.Time, a arrived, data []byte) {
			seg.newest = at
			s.take(a, data, at)
			if s.bytes > s.limits.Bytes {
				s.trim(at)
			}
		}); err != nil {
			return err
		}
	}
}

func nextFrame(r io.Reader) ([]byte, error) {
	var head [frameHead]byte
	if _, err := io.ReadFull(r, head[:]); err != nil {
		return nil, err // io.EOF between two frames
	}
	length := binary.LittleEndian.Uint32(head[:4])
	if length > maxFrame {
		return nil, errFrame
	}
	frame := make([]byte, length)
	if _, err := io.ReadFull(r, frame); err != nil || crc32.ChecksumIEEE(frame) != binary.LittleEndian.Uint32(head[4:]) {
		return nil, errFrame
	}
	return frame, nil
}

// pack makes a frame: the time of arrival in nanoseconds, then each span as its
// trace's id and its encoding, both with their length before them.
func pack(spans []arrived, encoded [][]byte, at time.Time) []byte {
	frame := binary.LittleEndian.AppendUint64(make([]byte, frameHead), uint64(at.UnixNano()))
	for i, a := range spans {
		if encoded[i] == nil {
			continue
		}
		frame = append(binary.AppendUvarint(frame, uint64(len(a.trace))), a.trace...)
		frame = append(binary.AppendUvarint(frame, uint64(len(encoded[i]))), encoded[i]...)
	}
	binary.LittleEndian.PutUint32(frame[:4], uint32(len(frame)-frameHead)) //nolint:gosec // bounded by what one export may hold
	binary.LittleEndian.PutUint32(frame[4:], crc32.ChecksumIEEE(frame[frameHead:]))
	return frame
}

// unpack gives each span of a frame, without its head.
func unpack(frame []byte, give func(time.Time, arrived, []byte)) error {
	if len(frame) < 8 {
		return errFrame
	}
	at := time.Unix(0, int64(binary.LittleEndian.Uint64(frame))) //nolint:gosec // as it was written
	for rest := frame[8:]; len(rest) > 0; {
		var id, data []byte
		var ok bool
		if id, rest, ok = part(rest); !ok {
			return errFrame
		}
		if data, rest, ok = part(rest); !ok {
			return errFrame
		}
		span := &tracesv1.Span{}
		if err := proto.Unmarshal(data, span); err != nil {
			return errFrame
		}
		give(at, again(string(id), span), data)
	}
	return nil
}

func part(data []byte) (found, rest []byte, ok bool) {
	length, n := binary.Uvarint(data)
	if n <= 0 || length > uint64(len(data)-n) { //nolint:gosec // n is within data
		return nil, nil, false
	}
	return data[n : n+int(length)], data[n+int(length):], true //nolint:gosec // not longer than data
}

// append writes what has just been taken. A disk that takes nothing costs the
// files, not the store.
func (g *segments) append(spans []arrived, encoded [][]byte, at time.Time) {
	if len(spans) == 0 {
		return
	}
	frame := pack(spans, encoded, at)
	g.mu.Lock()
	defer g.mu.Unlock()
	err := g.write(frame, at)
	if err != nil && !g.failing {
		g.log.Warn("traces cannot be written to their folder, and are kept in memory alone", "folder", g.dir, "error", err)
	}
	g.failing = err != nil
	g.discard(at)
}

func (g *segments) write(frame []byte, at time.Time) error {
	if g.current == nil || g.files[len(g.files)-1].size >= g.limits.Bytes/segmentParts {
		if err := g.turn(); err != nil {
			return err
		}
	}
	last := &g.files[len(g.files)-1]
	if _, err := g.current.Write(frame); err != nil {
		// What was half written would end the file for whoever reads it.
		return errors.Join(err, g.current.Truncate(last.size))
	}
	last.size += int64(len(frame))
	last.newest = at
	return nil
}

// turn begins a new file.
func (g *segments) turn() error {
	next := segment{number: 1}
	if len(g.files) > 0 {
		next.number = g.files[len(g.files)-1].number + 1
	}
	next.path = filepath.Join(g.dir, fmt.Sprintf(segmentForm, next.number))
	file, err := os.OpenFile(next.path, os.O_CREATE|os.O_EXCL|os.O_WRONLY|os.O_APPEND, 0o600)
	if err != nil {
		return err
	}
	if g.current != nil {
		err = g.current.Close()
	}
	g.current = file
	g.files = append(g.files, next)
	return err
}

// discard deletes the oldest files while all are too large, or they are too old.
func (g *segments) discard(now time.Time) {
	total := int64(0)
	for _, f := range g.files {
		total += f.size
	}
	for len(g.files) > 0 {
		oldest := g.files[0]
		writing := g.current != nil && len(g.files) == 1
		if writing || total <= g.limits.Bytes && now.Sub(oldest.newest) <= g.limits.Age {
			return
		}
		if err := os.Remove(oldest.path); err != nil && !errors.Is(err, os.ErrNotExist) {
			g.log.Warn("an old file of traces cannot be deleted", "file", oldest.path, "error", err)
			return
		}
		g.files = g.files[1:]
		total -= oldest.size
	}
}
