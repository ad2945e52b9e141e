package main

import (
	"bufio"
	"context"
	"io"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protojson"

	jobv1 "ramprow/proto/ramprow/job/v1"
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
	// The invented clock runs ahead of the wall's.
	now := time.Now()
	figures := h.as("owner", "job", "figures", "--from", now.AddDate(0, 0, -1).Format(time.DateOnly), "--to", now.AddDate(0, 0, 30).Format(time.DateOnly), "--output", "json")
	var f jobv1.GetFiguresResponse
	if err := protojson.Unmarshal([]byte(figures), &f); err != nil {
		t.Fatalf("%v in %s", err, figures)
	}
	if f.GetClosed() == 0 || f.GetLittle().GetResidual().AsDuration() != 0 || f.GetBottleneck() == "" || len(f.GetUses()) < 12 {
		t.Errorf("the figures of the day are %s", figures)
	}
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
