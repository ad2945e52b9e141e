package e2e_test

import (
	"io"
	"net"
	"sync"
	"testing"
)

// line is the network between a browser and the desk, which can be cut.
type line struct {
	listener net.Listener
	to       string

	mu    sync.Mutex
	isCut bool
	open  map[net.Conn]struct{}
}

func openLine(t *testing.T, to string) *line {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	l := &line{listener: listener, to: to, open: map[net.Conn]struct{}{}}
	var carrying sync.WaitGroup
	carrying.Go(func() {
		for {
			near, err := listener.Accept()
			if err != nil {
				return
			}
			carrying.Go(func() { l.carry(near) })
		}
	})
	t.Cleanup(func() {
		_ = listener.Close()
		l.cut()
		carrying.Wait()
	})
	return l
}

func (l *line) address() string { return l.listener.Addr().String() }

// cut ends every connection; new ones come to nothing.
func (l *line) cut() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.isCut = true
	for c := range l.open {
		_ = c.Close()
	}
}

func (l *line) mend() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.isCut = false
}

func (l *line) hold(c net.Conn) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.isCut {
		return false
	}
	l.open[c] = struct{}{}
	return true
}

func (l *line) release(c net.Conn) {
	_ = c.Close()
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.open, c)
}

func (l *line) carry(near net.Conn) {
	defer l.release(near)
	if !l.hold(near) {
		return
	}
	far, err := net.Dial("tcp", l.to)
	if err != nil {
		return
	}
	defer l.release(far)
	if !l.hold(far) {
		return
	}
	var back sync.WaitGroup
	back.Go(func() {
		_, _ = io.Copy(near, far)
		_ = near.Close()
	})
	_, _ = io.Copy(far, near)
	_ = far.Close()
	back.Wait()
}
