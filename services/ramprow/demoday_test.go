package main

import (
	"bufio"
	"context"
	"io"
	"strings"
	"testing"
)

// A demo day opens, and a car of it is paid without anybody doing anything.
func TestUpDemoDay(t *testing.T) {
	quietEnvironment(t)
	dir := t.TempDir()
	ctx, stop := context.WithCancel(context.WithoutCancel(t.Context()))
	defer stop()
	reader, writer := io.Pipe()
	root := rootCommand()
	root.SetOut(writer)
	root.SetArgs([]string{"up", "--data", dir, "--free-ports", "--demo-day", "--speed", "600"})
	ended := make(chan error, 1)
	go func() {
		ended <- root.ExecuteContext(ctx)
		_ = writer.Close()
	}()
	lines := bufio.NewScanner(reader)
	for lines.Scan() && !strings.HasPrefix(lines.Text(), "A day of invented cars") {
	}
	h := &house{t: t, dir: dir}
	h.await("a car that is paid", func() bool {
		return strings.Contains(h.as("owner", "job", "list", "--with-finished"), "closed")
	})
	stop()
	if err := <-ended; err != nil {
		t.Errorf("the day did not end cleanly: %v", err)
	}
	if _, _, err := program(t, "", "up", "--data", dir, "--demo-day"); err == nil || !strings.Contains(err.Error(), "holds a workshop already") {
		t.Errorf("a demo day in a workshop's folder: %v", err)
	}
	if _, _, err := program(t, "", "up", "--data", t.TempDir(), "--demo-day", "--speed", "0"); err == nil || !strings.Contains(err.Error(), "--speed") {
		t.Errorf("a day that stands still: %v", err)
	}
}
