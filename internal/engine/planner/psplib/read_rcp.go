package psplib

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"

	"ramprow/internal/engine/planner/rcpsp"
)

// maxResources bounds what a file may claim.
const maxResources = 1000

// ReadRCP reads one project in Patterson's form: whole numbers with white space
// between them, wherever the lines break. First the number of activities with
// the two dummies and the number of resources, then the capacities, then of each
// activity its duration, its demands, the number of its successors and these,
// counted from 1. Errors name the activity.
func ReadRCP(r io.Reader) (rcpsp.Project, error) {
	p := &numberStream{words: bufio.NewScanner(r)}
	p.words.Split(bufio.ScanWords)
	n := p.next("the number of activities", 0, maxActivities)
	resources := p.next("the number of resources", 0, maxResources)
	var project rcpsp.Project
	for r := range resources {
		project.Capacities = append(project.Capacities, p.next(fmt.Sprintf("the capacity of resource %d", r+1), 0, rcpsp.MaxCapacity))
	}
	for a := range n {
		if p.err != nil {
			break
		}
		where := fmt.Sprintf("activity %d", a+1)
		project.Durations = append(project.Durations, p.next("the duration of "+where, 0, maxDuration))
		demands := make([]int, resources)
		for r := range demands {
			demands[r] = p.next("a demand of "+where, 0, rcpsp.MaxCapacity)
		}
		var successors []int
		for range p.next("the number of successors of "+where, 0, n) {
			if p.err == nil {
				successors = append(successors, p.next("a successor of "+where, 1, n)-1)
			}
		}
		project.Demands, project.Successors = append(project.Demands, demands), append(project.Successors, successors)
	}
	if p.err == nil && p.words.Scan() {
		p.err = fmt.Errorf("%q follows after the last activity", p.words.Text())
	}
	if p.err != nil {
		return rcpsp.Project{}, fmt.Errorf("patterson: %w", p.err)
	}
	return project, nil
}

// maxDuration in periods; longer ones could not be scheduled anyway.
const maxDuration = 1 << 22

// numberStream reads whole numbers one after another and keeps the first error.
type numberStream struct {
	words *bufio.Scanner
	err   error
}

func (p *numberStream) next(what string, least, most int) int {
	if p.err != nil {
		return least
	}
	if !p.words.Scan() {
		if p.err = p.words.Err(); p.err == nil {
			p.err = errors.New("the file ends before " + what)
		}
		return least
	}
	n, err := strconv.Atoi(p.words.Text())
	if err != nil || n < least || n > most {
		p.err = fmt.Errorf("%s is %q; a whole number from %d to %d is possible", what, p.words.Text(), least, most)
		return least
	}
	return n
}
