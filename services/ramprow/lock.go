package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
)

// lockFolder keeps a data folder for this process alone: two writers with one
// embedded log would destroy it. The lock ends with the process, however it ends.
func lockFolder(dir string) (unlock func() error, err error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("make the data folder: %w", err)
	}
	file, err := os.OpenFile(filepath.Join(dir, "lock"), os.O_RDWR|os.O_CREATE, 0o600) //nolint:gosec // the folder is the caller's own choice
	if err != nil {
		return nil, fmt.Errorf("lock the data folder: %w", err)
	}
	err = syscall.Flock(int(file.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return nil, errors.Join(fmt.Errorf("%s is in use by %s; stop it first, or choose another folder with --data", dir, holder(file)), file.Close())
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("lock the data folder: %w", err), file.Close())
	}
	if err := writeHolder(file); err != nil {
		return nil, errors.Join(err, file.Close())
	}
	return file.Close, nil
}

// holder names the process that wrote itself into the lock.
func holder(file *os.File) string {
	text := make([]byte, 32)
	n, _ := file.ReadAt(text, 0) // the end of so short a file is no news
	if n == 0 {
		return "another process"
	}
	return "process " + strings.TrimSpace(string(text[:n]))
}

func writeHolder(file *os.File) error {
	if err := file.Truncate(0); err != nil {
		return fmt.Errorf("lock the data folder: %w", err)
	}
	if _, err := fmt.Fprintf(file, "%d\n", os.Getpid()); err != nil {
		return fmt.Errorf("lock the data folder: %w", err)
	}
	return nil
}
