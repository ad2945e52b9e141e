package faults

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"syscall"
	"time"

	"ramprow/services/terminal"
)

// diskBytes is the size of the disk that is filled up.
const diskBytes = 64 << 20

// ErrNoMount says that this user cannot mount a small disk.
var ErrNoMount = errors.New("a disk of its own cannot be mounted here; run as root, where mounting is allowed")

// disk is a small file system for the brokers' streams.
type disk struct{ path string }

func mountDisk(dir string) (*disk, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("make the disk's folder: %w", err)
	}
	if err := syscall.Mount("ramprow-faults", dir, "tmpfs", 0, fmt.Sprintf("size=%d", diskBytes)); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrNoMount, err)
	}
	return &disk{path: dir}, nil
}

func (d *disk) ballast() string { return filepath.Join(d.path, "ballast") }

// fill takes every byte that is left.
func (d *disk) fill() error {
	file, err := os.OpenFile(d.ballast(), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer func() { _ = file.Close() }()
	for _, size := range []int{1 << 20, 4096, 1} {
		block := make([]byte, size)
		for err == nil {
			_, err = file.Write(block)
		}
		if !errors.Is(err, syscall.ENOSPC) {
			return fmt.Errorf("fill the disk: %w", err)
		}
		err = nil
	}
	return nil
}

// makeRoom gives it all back.
func (d *disk) makeRoom() error { return os.Remove(d.ballast()) }

func (d *disk) unmount() error { return syscall.Unmount(d.path, syscall.MNT_DETACH) }

// DiskReport is what a full disk brought about.
type DiskReport struct {
	*Report

	// Turned is how often each reason was given while there was no room.
	Turned map[string]int
	// ByItself: after room was made, everything answered again without a restart
	// of the broker.
	ByItself bool
	Back     time.Duration // from the room to an answer of every role, with the restart if there was one
}

// FullDisk lets the broker's disk run full while people work, makes room again,
// and checks the same as Run. Without the right to mount it gives ErrNoMount.
func FullDisk(ctx context.Context, c Config) (report *DiskReport, err error) {
	c.Faults, c.Brokers = 0, 1
	c.Store = filepath.Join(c.Dir, "disk")
	small, err := mountDisk(c.Store)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, small.unmount()) }()
	f, err := open(ctx, c)
	if err != nil {
		return nil, err
	}
	defer f.town.close()
	report = &DiskReport{Report: f.report}
	began := time.Now()
	err = f.live(ctx, func(ctx context.Context) error { return f.runFull(ctx, small, report) })
	report.Took = time.Since(began)
	if err == nil {
		err = f.check(ctx)
	}
	f.sum()
	f.report.Unfinished = err != nil
	if errors.Is(err, errBroken) || err != nil && len(f.report.Violations) > 0 {
		err = nil
	}
	return report, err
}

// selfPatience is how long the broker has to take up work by itself.
const selfPatience = 5 * time.Second

func (f *field) runFull(ctx context.Context, small *disk, report *DiskReport) error {
	half := f.Commands / 2
	if err := f.tally.await(ctx, "half of the commands", func() bool { return f.tally.commands >= half }); err != nil {
		return err
	}
	if err := small.fill(); err != nil {
		return err
	}
	before := f.tally.forgetReasons()
	commands, again := f.tally.count()
	say(f.Progress, "The disk is full after %d commands.", commands)
	// Everybody is turned away several times.
	if err := f.tally.await(ctx, "refusals", func() bool { return f.tally.again >= again+4*len(f.callers) }); err != nil {
		return err
	}
	report.Turned = f.tally.forgetReasons()
	f.tally.addReasons(before, report.Turned)
	now, _ := f.tally.count()
	say(f.Progress, "Meanwhile %d commands were acknowledged, and calls were turned away because of %v.", now-commands, report.Turned)
	if err := small.makeRoom(); err != nil {
		return err
	}
	return f.afterRoom(ctx, report)
}

// afterRoom waits for an answer of every role, and restarts the broker if need be.
func (f *field) afterRoom(ctx context.Context, report *DiskReport) error {
	var needs []need
	for _, site := range f.sites {
		for _, role := range terminal.RoleNames() {
			needs = append(needs, need{seat: seat{role: role, site: site}})
		}
	}
	o := f.tally.begin(needs)
	defer f.tally.over(o)
	f.tally.felt(o, true)
	f.tally.mended(o)
	for _, p := range f.probers {
		p.askFor(ctx, needs, &f.asking)
	}
	limited, cancel := context.WithTimeout(ctx, selfPatience)
	defer cancel()
	err := f.tally.await(limited, "everything to answer again", func() bool { return len(o.open) == 0 })
	report.ByItself = err == nil
	if err != nil && ctx.Err() == nil && limited.Err() != nil {
		say(f.Progress, "Nothing went on by itself within %v: the broker is restarted.", selfPatience)
		b := f.town.brokers[0]
		if err := b.terminate(); err != nil {
			return err
		}
		if err := f.town.startBroker(ctx, b); err != nil {
			return err
		}
		f.tally.mended(o)
		err = f.answered(ctx, o)
	}
	report.Back, _ = o.lasted()
	say(f.Progress, "All roles answer %s after room was made.", milli(report.Back))
	return err
}

func say(out io.Writer, format string, args ...any) { _, _ = fmt.Fprintf(out, format+"\n", args...) }
