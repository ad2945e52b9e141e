package terminal

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"

	"google.golang.org/protobuf/encoding/protojson"

	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// waiting is the readings of one person that no server has answered yet, on
// this terminal's disk: one line each, oldest first. A reading is written down
// and synced before it is sent, keeps its own time and request id, and leaves
// when it was answered. So it survives a lost connection and a lost terminal,
// and however often it is sent it is kept once.
type waiting struct{ file string }

// waitingDir is where the readings of all persons wait.
func waitingDir(dir string) string { return filepath.Join(dir, "waiting") }

// waitingOf finds the readings of whoever holds a token: nobody's readings are
// sent in another one's name.
func waitingOf(dir, token string) waiting {
	sum := sha256.Sum256([]byte(holderOf(token)))
	return waiting{file: filepath.Join(waitingDir(dir), hex.EncodeToString(sum[:8])+".jsonl")}
}

// holderOf reads person and site off a token (RFC 7519). The server checks it;
// here it only keeps people's readings apart.
func holderOf(token string) string {
	parts := strings.Split(token, ".")
	if len(parts) != 3 {
		return token
	}
	payload, err := base64.RawURLEncoding.DecodeString(parts[1])
	if err != nil {
		return token
	}
	var claims struct{ Sub, Site string }
	if json.Unmarshal(payload, &claims) != nil || claims.Sub == "" {
		return token
	}
	return claims.Site + "/" + claims.Sub
}

// locked does something while no other command of this terminal touches the readings.
func (w waiting) locked(do func() error) (err error) {
	if err := os.MkdirAll(filepath.Dir(w.file), 0o700); err != nil {
		return fmt.Errorf("make the folder of waiting readings: %w", err)
	}
	lock, err := os.OpenFile(w.file+".lock", os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return fmt.Errorf("lock the waiting readings: %w", err)
	}
	defer func() { err = errors.Join(err, lock.Close()) }()
	if err := syscall.Flock(int(lock.Fd()), syscall.LOCK_EX); err != nil {
		return fmt.Errorf("lock the waiting readings: %w", err)
	}
	return do()
}

// list gives what waits, oldest first. A last line that was cut off by a crash
// was never told to be kept, and is left out.
func (w waiting) list() ([]*torqueauditv1.PostReadingRequest, error) {
	data, err := os.ReadFile(w.file)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read the waiting readings: %w", err)
	}
	lines := bytes.Split(data, []byte("\n"))
	var found []*torqueauditv1.PostReadingRequest
	for i, line := range lines[:len(lines)-1] {
		r := &torqueauditv1.PostReadingRequest{}
		if err := protojson.Unmarshal(line, r); err != nil {
			return nil, fmt.Errorf("%s, line %d: %w", w.file, i+1, err)
		}
		found = append(found, r)
	}
	return found, nil
}

// add writes a reading down behind the others, once.
func (w waiting) add(r *torqueauditv1.PostReadingRequest) error {
	return w.locked(func() error {
		all, err := w.list()
		if err != nil || slices.ContainsFunc(all, sameID(r.GetRequestId())) {
			return err
		}
		return w.write(append(all, r))
	})
}

// remove takes an answered reading out.
func (w waiting) remove(requestID string) error {
	return w.locked(func() error {
		all, err := w.list()
		if err != nil {
			return err
		}
		rest := slices.DeleteFunc(slices.Clone(all), sameID(requestID))
		if len(rest) == len(all) {
			return nil
		}
		return w.write(rest)
	})
}

func sameID(id string) func(*torqueauditv1.PostReadingRequest) bool {
	return func(r *torqueauditv1.PostReadingRequest) bool { return r.GetRequestId() == id }
}

// write puts all readings in the place of those before, at once: either the old
// ones are on disk or the new ones.
func (w waiting) write(all []*torqueauditv1.PostReadingRequest) error {
	var b bytes.Buffer
	for _, r := range all {
		line, err := protojson.Marshal(r)
		if err != nil {
			return fmt.Errorf("write a reading down: %w", err)
		}
		b.Write(append(line, '\n'))
	}
	next := w.file + ".next"
	file, err := os.OpenFile(next, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600) //nolint:gosec // the terminal's own folder
	if err != nil {
		return fmt.Errorf("write the waiting readings: %w", err)
	}
	_, err = file.Write(b.Bytes())
	if err = errors.Join(err, file.Sync(), file.Close()); err != nil {
		return fmt.Errorf("write the waiting readings: %w", err)
	}
	if err := os.Rename(next, w.file); err != nil {
		return fmt.Errorf("write the waiting readings: %w", err)
	}
	return syncFolder(filepath.Dir(w.file))
}

// syncFolder puts a rename on disk.
func syncFolder(name string) error {
	folder, err := os.Open(name) //nolint:gosec // the terminal's own folder
	if err != nil {
		return fmt.Errorf("sync the waiting readings: %w", err)
	}
	if err := errors.Join(folder.Sync(), folder.Close()); err != nil {
		return fmt.Errorf("sync the waiting readings: %w", err)
	}
	return nil
}
