package faults

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"sync"
	"syscall"
	"time"
)

// Programs are the files that are run.
type Programs struct{ Ramprow, NATS, Redis string }

// termPatience is how long a process may take to end after SIGTERM; a role drains
// for at most 30 s.
const termPatience = 45 * time.Second

// process is one place where a program is run again and again.
type process struct {
	name    string
	command func() *exec.Cmd
	output  string // file that it writes to

	mu     sync.Mutex
	cmd    *exec.Cmd
	ended  chan struct{} // closed when the present run has ended
	wanted bool          // it should be running
	onEnd  func(p *process, state string)
}

// start runs the program once more.
func (p *process) start() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	out, err := os.OpenFile(p.output, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return fmt.Errorf("%s: %w", p.name, err)
	}
	defer func() { _ = out.Close() }() // the child has its own
	cmd := p.command()
	cmd.Stdout, cmd.Stderr = out, out
	// Should this program be killed, what it started goes with it.
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("start %s: %w", p.name, err)
	}
	ended := make(chan struct{})
	p.cmd, p.ended, p.wanted = cmd, ended, true
	go func() {
		_ = cmd.Wait() // how it ended is in its state
		p.mu.Lock()
		unwanted := p.wanted && p.cmd == cmd
		p.mu.Unlock()
		close(ended)
		if unwanted && p.onEnd != nil {
			p.onEnd(p, cmd.ProcessState.String())
		}
	}()
	return nil
}

// alive gives a context that ends with the present run.
func (p *process) alive(ctx context.Context) (context.Context, context.CancelFunc) {
	p.mu.Lock()
	ended := p.ended
	p.mu.Unlock()
	ctx, cancel := context.WithCancelCause(ctx)
	go func() {
		select {
		case <-ended:
			cancel(fmt.Errorf("%s has ended; see %s", p.name, p.output))
		case <-ctx.Done():
		}
	}()
	return ctx, func() { cancel(nil) }
}

// signal sends a signal to the present run. wanted tells whether it should go on.
func (p *process) signal(sig syscall.Signal, wanted bool) (<-chan struct{}, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.cmd == nil {
		return nil, fmt.Errorf("%s does not run", p.name)
	}
	p.wanted = wanted
	if err := p.cmd.Process.Signal(sig); err != nil && !errors.Is(err, os.ErrProcessDone) {
		return nil, fmt.Errorf("send %v to %s: %w", sig, p.name, err)
	}
	return p.ended, nil
}

// kill ends it as a power cut would, and returns when it is gone.
func (p *process) kill() error {
	ended, err := p.signal(syscall.SIGKILL, false)
	if err != nil {
		return err
	}
	<-ended
	return nil
}

// terminate ends it as an operator does, who waits until it has drained.
func (p *process) terminate() error {
	ended, err := p.signal(syscall.SIGTERM, false)
	if err != nil {
		return err
	}
	patience := time.NewTimer(termPatience)
	defer patience.Stop()
	select {
	case <-ended:
		return nil
	case <-patience.C:
		return errors.Join(fmt.Errorf("%s did not end within %v after SIGTERM", p.name, termPatience), p.kill())
	}
}

// freeze stops it where it stands; thaw lets it go on.
func (p *process) freeze() error {
	_, err := p.signal(syscall.SIGSTOP, true)
	return err
}

func (p *process) thaw() error {
	_, err := p.signal(syscall.SIGCONT, true)
	return err
}

// close ends whatever runs.
func (p *process) close() {
	p.mu.Lock()
	runs := p.cmd != nil
	p.mu.Unlock()
	if runs {
		_ = p.kill() // it may have ended by itself
	}
}
