package psplib

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"ramprow/internal/engine/planner/rcpsp"
)

// Operators are people of whom every operation holds one while it runs, beside
// its machine. An operation may be handed over from one to another.
type Operators struct {
	// Machines[o] are what operator o can run, counted from 0.
	Machines [][]int
	// Any is how many more there are who can run every machine.
	Any int
}

// ReadJobShop reads one job shop in the usual form: the number of jobs and of
// machines, then a line for each job with machine and duration of its operations
// in order, machines counted from 0. A job may have fewer or more operations than
// there are machines. Lines that do not begin with a number are words about the
// instance and are skipped, but for two that add operators:
//
//	operators 4        four people, each of whom can run every machine
//	operator 0 2 5     one more, who can run the machines 0, 2 and 5
//
// Errors name the line.
func ReadJobShop(r io.Reader) (rcpsp.Project, error) {
	p := &shopParser{}
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, 1<<20)
	number := 0
	for lines.Scan() {
		number++
		if err := p.line(strings.Fields(lines.Text())); err != nil {
			return rcpsp.Project{}, fmt.Errorf("job shop: line %d: %w", number, err)
		}
	}
	if err := lines.Err(); err != nil {
		return rcpsp.Project{}, fmt.Errorf("job shop: line %d: %w", number+1, err)
	}
	project, err := p.project()
	if err != nil {
		return rcpsp.Project{}, fmt.Errorf("job shop: %w", err)
	}
	return project, nil
}

type shopParser struct {
	sized          bool
	jobs, machines int
	rows           [][]int
	operations     int
	staff          Operators
	staffed        bool
}

func (p *shopParser) line(words []string) error {
	if len(words) == 0 {
		return nil
	}
	if words[0] == "operators" || words[0] == "operator" {
		return p.operator(words)
	}
	if c := words[0][0]; c != '-' && (c < '0' || c > '9') {
		return nil
	}
	row, err := numbers(strings.Join(words, " "))
	if err != nil {
		return err
	}
	if !p.sized {
		return p.size(row)
	}
	if len(p.rows) == p.jobs {
		return fmt.Errorf("more than %d jobs", p.jobs)
	}
	if len(row)%2 != 0 {
		return fmt.Errorf("job %d has %d numbers; machine and duration come in pairs", len(p.rows)+1, len(row))
	}
	for k := 0; k < len(row); k += 2 {
		if row[k] < 0 || row[k] >= p.machines {
			return fmt.Errorf("job %d needs machine %d; 0 to %d are possible", len(p.rows)+1, row[k], p.machines-1)
		}
		if row[k+1] < 0 || row[k+1] > maxDuration {
			return fmt.Errorf("job %d has a duration of %d", len(p.rows)+1, row[k+1])
		}
	}
	if p.operations += len(row) / 2; p.operations > maxActivities {
		return fmt.Errorf("more than %d operations", maxActivities)
	}
	p.rows = append(p.rows, row)
	return nil
}

func (p *shopParser) size(row []int) error {
	if len(row) < 2 || row[0] < 1 || row[1] < 1 || row[0] > maxActivities || row[1] > maxResources {
		return fmt.Errorf("expected the numbers of jobs and machines, up to %d and %d, got %v", maxActivities, maxResources, row)
	}
	p.sized, p.jobs, p.machines = true, row[0], row[1]
	return nil
}

func (p *shopParser) operator(words []string) error {
	row, err := numbers(strings.Join(words[1:], " "))
	if err != nil {
		return err
	}
	p.staffed = true
	if words[0] == "operator" {
		p.staff.Machines = append(p.staff.Machines, row)
		return nil
	}
	if len(row) != 1 || row[0] < 0 || row[0] > rcpsp.MaxCapacity {
		return fmt.Errorf("expected one number of operators, got %v", row)
	}
	p.staff.Any += row[0]
	return nil
}

// project gives each machine a resource of one unit.
func (p *shopParser) project() (rcpsp.Project, error) {
	if !p.sized || len(p.rows) < p.jobs {
		return rcpsp.Project{}, fmt.Errorf("the file ends after %d of %d jobs", len(p.rows), p.jobs)
	}
	out := rcpsp.Project{Capacities: make([]int, p.machines)}
	for m := range out.Capacities {
		out.Capacities[m] = 1
	}
	for _, row := range p.rows {
		for k := 0; k < len(row); k += 2 {
			demand := make([]int, p.machines)
			demand[row[k]] = 1
			a := len(out.Durations)
			out.Durations, out.Demands = append(out.Durations, row[k+1]), append(out.Demands, demand)
			out.Successors = append(out.Successors, nil)
			if k > 0 {
				out.Successors[a-1] = []int{a}
			}
		}
	}
	if !p.staffed {
		return out, nil
	}
	return WithOperators(out, p.machines, p.staff)
}

// maxTeams bounds how many groups of machines may share their operators.
const maxTeams = 256

// WithOperators adds operators to a job shop whose first resources are its
// machines. By Hall's theorem everybody finds an operator if and only if no set
// of running machines is larger than the set of those who can run one of them.
// Each set of machines that is run by a smaller team becomes a resource; sets
// whose team is made by joining teams are all that matter.
func WithOperators(shop rcpsp.Project, machines int, staff Operators) (rcpsp.Project, error) {
	if staff.Any < 0 || staff.Any > rcpsp.MaxCapacity || len(staff.Machines) > rcpsp.MaxCapacity {
		return rcpsp.Project{}, errors.New("too many operators")
	}
	can := make([]map[int]bool, machines) // operators of each machine
	for m := range can {
		can[m] = map[int]bool{}
	}
	for o, list := range staff.Machines {
		for _, m := range list {
			if m < 0 || m >= machines {
				return rcpsp.Project{}, fmt.Errorf("operator %d runs machine %d; 0 to %d are possible", o+1, m, machines-1)
			}
			can[m][o] = true
		}
	}
	teams, err := joined(can)
	if err != nil {
		return rcpsp.Project{}, err
	}
	for _, team := range teams {
		var run []int
		for m := range machines {
			if within(can[m], team) {
				run = append(run, m)
			}
		}
		capacity := len(team) + staff.Any
		if capacity < len(run) {
			shop = withResource(shop, run, capacity)
		}
	}
	return shop, nil
}

// withResource adds a resource of which an operation on one of the machines
// holds a unit.
func withResource(shop rcpsp.Project, machines []int, capacity int) rcpsp.Project {
	shop.Capacities = append(shop.Capacities, capacity)
	for a, demand := range shop.Demands {
		units := 0
		for _, m := range machines {
			units += demand[m]
		}
		shop.Demands[a] = append(demand, units)
	}
	return shop
}

// joined gives every union of the machines' teams, each once.
func joined(can []map[int]bool) ([]map[int]bool, error) {
	var teams []map[int]bool
	seen := map[string]bool{}
	for _, one := range can {
		for i := -1; i >= -1 && i < len(teams); i++ { // alone, then with each that is there
			team := map[int]bool{}
			for o := range one {
				team[o] = true
			}
			if i >= 0 {
				for o := range teams[i] {
					team[o] = true
				}
			}
			name := nameOf(team)
			if seen[name] {
				continue
			}
			if len(teams) == maxTeams {
				return nil, fmt.Errorf("the operators' machines make more than %d different teams", maxTeams)
			}
			seen[name] = true
			teams = append(teams, team)
		}
	}
	return teams, nil
}

func within(small, large map[int]bool) bool {
	for o := range small {
		if !large[o] {
			return false
		}
	}
	return true
}

func nameOf(team map[int]bool) string {
	most := -1
	for o := range team {
		most = max(most, o)
	}
	var b strings.Builder
	for o := range most + 1 {
		if team[o] {
			b.WriteString(strconv.Itoa(o) + " ")
		}
	}
	return b.String()
}
