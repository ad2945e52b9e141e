package jetstream_test

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"ramprow/internal/platform/embedded"
	"ramprow/internal/platform/personal"
	"ramprow/internal/platform/personal/personaltest"
)

func TestKeys(t *testing.T) {
	personaltest.Run(t, func(t *testing.T) personal.Store { return connect(t, start(t, t.TempDir())).Keys() })
}

// What was destroyed is on no disk any more, and what was not outlives the server.
func TestDestroyedKeysAreOverwritten(t *testing.T) {
	dir := t.TempDir()
	first := start(t, dir)
	log := connect(t, first)
	gone, stays := bytes.Repeat([]byte{0xA5, 0x5B, 0x77}, 11)[:32], bytes.Repeat([]byte{0x3C, 0xE1, 0x19}, 11)[:32]
	for id, secret := range map[string][]byte{"j1": gone, "j2": stays} {
		if err := log.Keys().Create(t.Context(), personal.Name{Site: "north", ID: id}, secret); err != nil {
			t.Fatal(err)
		}
	}
	if !onDisk(t, dir, gone) || !onDisk(t, dir, stays) {
		t.Fatal("the test does not find keys that are there")
	}
	if err := log.Keys().Destroy(t.Context(), personal.Name{Site: "north", ID: "j1"}); err != nil {
		t.Fatal(err)
	}
	if onDisk(t, dir, gone) {
		t.Error("the destroyed key is still on disk")
	}
	log.Close()
	embedded.StopNATS(first)
	if onDisk(t, dir, gone) || !onDisk(t, dir, stays) {
		t.Error("after the server has ended the destroyed key is on disk, or the other is not")
	}
	again := connect(t, start(t, dir)).Keys()
	if got, err := again.Get(t.Context(), personal.Name{Site: "north", ID: "j2"}); err != nil || !bytes.Equal(got, stays) {
		t.Errorf("after the restart it gives %x (%v)", got, err)
	}
	if _, err := again.Get(t.Context(), personal.Name{Site: "north", ID: "j1"}); !errors.Is(err, personal.ErrDestroyed) {
		t.Errorf("after the restart the destroyed one gives %v", err)
	}
}

func onDisk(t *testing.T, dir string, secret []byte) bool {
	t.Helper()
	found := false
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		content, err := os.ReadFile(path)
		found = found || bytes.Contains(content, secret)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}
