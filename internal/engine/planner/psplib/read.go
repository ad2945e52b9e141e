// Package psplib reads scheduling instances in the text forms in which they are
// published: projects as .sm and as Patterson .rcp, and job shops.
package psplib

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"

	"ramprow/internal/engine/planner/rcpsp"
)

// maxActivities bounds what a file may claim, so that a damaged one costs no memory.
const maxActivities = 100_000

// ReadSM reads one single-mode instance. Errors name the line.
func ReadSM(r io.Reader) (rcpsp.Project, error) {
	p := &parser{lines: bufio.NewScanner(r)}
	for p.lines.Scan() {
		p.number++
		if err := p.line(strings.TrimSpace(p.lines.Text())); err != nil {
			return rcpsp.Project{}, fmt.Errorf("psplib: line %d: %w", p.number, err)
		}
	}
	if err := p.lines.Err(); err != nil {
		return rcpsp.Project{}, fmt.Errorf("psplib: line %d: %w", p.number+1, err)
	}
	return p.finish()
}

// section is the part of the file that a line belongs to.
type section int

const (
	inHead section = iota
	inPrecedence
	inRequests
	inCapacities
)

type parser struct {
	lines     *bufio.Scanner
	number    int
	section   section
	jobs      int
	resources int
	project   rcpsp.Project
	seen      int // rows of the section so far
}

func (p *parser) line(text string) error {
	switch {
	case text == "" || strings.HasPrefix(text, "***") || strings.HasPrefix(text, "---"):
		return nil
	case strings.HasPrefix(text, "PRECEDENCE RELATIONS"):
		return p.enter(inPrecedence)
	case strings.HasPrefix(text, "REQUESTS/DURATIONS"):
		return p.enter(inRequests)
	case strings.HasPrefix(text, "RESOURCEAVAILABILITIES"):
		return p.enter(inCapacities)
	case strings.HasPrefix(text, "jobnr.") || strings.HasPrefix(text, "R "):
		return nil
	}
	switch p.section {
	case inPrecedence:
		return p.precedence(text)
	case inRequests:
		return p.request(text)
	case inCapacities:
		return p.capacities(text)
	default:
		return p.head(text)
	}
}

func (p *parser) enter(s section) error {
	if s > inPrecedence && p.seen != p.jobs {
		return fmt.Errorf("the section before has %d rows for %d jobs", p.seen, p.jobs)
	}
	p.section, p.seen = s, 0
	if s == inPrecedence {
		p.project.Successors = make([][]int, p.jobs)
		p.project.Durations = make([]int, p.jobs)
		p.project.Demands = make([][]int, p.jobs)
	}
	return nil
}

func (p *parser) head(text string) error {
	name, value, ok := strings.Cut(text, ":")
	if !ok {
		return nil
	}
	fields := strings.Fields(value)
	if len(fields) == 0 {
		return nil
	}
	var err error
	switch strings.TrimSpace(name) {
	case "jobs (incl. supersource/sink )":
		if p.jobs, err = strconv.Atoi(fields[0]); err == nil && (p.jobs < 0 || p.jobs > maxActivities) {
			err = fmt.Errorf("%d jobs; up to %d can be read", p.jobs, maxActivities)
		}
	case "- renewable":
		p.resources, err = strconv.Atoi(fields[0])
	case "- nonrenewable", "- doubly constrained":
		if fields[0] != "0" {
			err = fmt.Errorf("%s resources cannot be scheduled", strings.TrimPrefix(strings.TrimSpace(name), "- "))
		}
	}
	return err
}

// precedence reads: job, modes, number of successors, successors.
func (p *parser) precedence(text string) error {
	row, err := numbers(text)
	if err != nil {
		return err
	}
	if len(row) < 3 || len(row) != 3+row[2] {
		return fmt.Errorf("expected job, modes and its successors, got %q", text)
	}
	if err := p.next(row[0], row[1]); err != nil {
		return err
	}
	for _, s := range row[3:] {
		p.project.Successors[row[0]-1] = append(p.project.Successors[row[0]-1], s-1)
	}
	return nil
}

// request reads: job, mode, duration, demands.
func (p *parser) request(text string) error {
	row, err := numbers(text)
	if err != nil {
		return err
	}
	if len(row) != 3+p.resources {
		return fmt.Errorf("expected job, mode, duration and %d demands, got %q", p.resources, text)
	}
	if err := p.next(row[0], row[1]); err != nil {
		return err
	}
	p.project.Durations[row[0]-1], p.project.Demands[row[0]-1] = row[2], row[3:]
	return nil
}

func (p *parser) next(job, mode int) error {
	if p.seen++; job != p.seen || job > p.jobs {
		return fmt.Errorf("expected job %d of %d, got %d", p.seen, p.jobs, job)
	}
	if mode != 1 {
		return fmt.Errorf("job %d has several modes, which cannot be scheduled", job)
	}
	return nil
}

func (p *parser) capacities(text string) error {
	row, err := numbers(text)
	if err != nil {
		return err
	}
	if len(row) != p.resources || p.project.Capacities != nil {
		return fmt.Errorf("expected the capacities of %d resources once, got %q", p.resources, text)
	}
	p.project.Capacities = row
	return nil
}

func (p *parser) finish() (rcpsp.Project, error) {
	if p.section != inCapacities || len(p.project.Capacities) != p.resources {
		return rcpsp.Project{}, fmt.Errorf("psplib: the file ends at line %d before the capacities", p.number)
	}
	return p.project, nil
}

func numbers(text string) ([]int, error) {
	fields := strings.Fields(text)
	row := make([]int, len(fields))
	for i, f := range fields {
		n, err := strconv.Atoi(f)
		if err != nil {
			return nil, fmt.Errorf("%q is no whole number", f)
		}
		row[i] = n
	}
	return row, nil
}
