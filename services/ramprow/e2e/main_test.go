package e2e_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sync"
	"testing"

	"github.com/chromedp/chromedp"
)

// What is costly to make and does not know what is done with it is made once for
// all tests, by the first that wants it, and goes with the last.
var (
	// chromium is a running browser; each person gets a profile in it.
	chromium = sync.OnceValues(startChromium)
	// built is the program's file.
	built = sync.OnceValues(build)

	leaving sync.Mutex
	left    []func()
)

func TestMain(m *testing.M) {
	code := m.Run()
	for _, leave := range slices.Backward(left) {
		leave()
	}
	os.Exit(code)
}

// afterAll calls leave when every test has ended, what came last first.
func afterAll(leave func()) {
	leaving.Lock()
	defer leaving.Unlock()
	left = append(left, leave)
}

func startChromium() (context.Context, error) {
	path, err := exec.LookPath("chromium")
	if err != nil {
		return nil, err
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.Flag("disable-dev-shm-usage", true), chromedp.WindowSize(1280, 900))
	allocator, stop := chromedp.NewExecAllocator(context.Background(), options...)
	afterAll(stop)
	first, closeFirst := chromedp.NewContext(allocator)
	afterAll(closeFirst)
	_, err = chromedp.Run(first, chromedp.Navigate("about:blank"))
	return first, err
}

func build() (string, error) {
	dir, err := os.MkdirTemp("", "ramprow-e2e-")
	if err != nil {
		return "", err
	}
	afterAll(func() { _ = os.RemoveAll(dir) })
	file := filepath.Join(dir, "ramprow")
	if out, err := exec.Command("go", "build", "-o", file, "ramprow/services/ramprow").CombinedOutput(); err != nil {
		return "", fmt.Errorf("build ramprow: %w\n%s", err, out)
	}
	return file, nil
}
