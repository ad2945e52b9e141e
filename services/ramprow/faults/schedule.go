package faults

import (
	"fmt"
	"math/rand/v2"

	"ramprow/services/terminal"
)

// deed is what is done to a process.
type deed int

// The deeds. A stopped process keeps its connections and says nothing.
const (
	kill    deed = iota // SIGKILL, and started again
	stop                // SIGSTOP, and SIGCONT
	restart             // SIGTERM, and started again
	empty               // FLUSHALL
	move                // the leaders of the streams go to other servers
)

// String names it in the past.
func (d deed) String() string {
	return map[deed]string{kill: "killed", stop: "stopped", restart: "restarted", empty: "emptied", move: "moved"}[d]
}

// victim is to whom it is done.
type victim int

// The victims.
const (
	atWork   victim = iota // the replica of a role that does its work
	standing               // one that stands by, where there is one
	wholeOf                // every replica of a role
	aBroker
	aRedis
	all // everything that runs
)

// strike is one planned fault.
type strike struct {
	Number int
	// At is how many commands have been acknowledged when it comes; Hold how many
	// more are, at most, until it is undone.
	At, Hold int
	Role     string // of the first three victims
	deed     deed
	victim   victim
	broker   int // which one, of several
}

// weighted is how often something is drawn, in parts of the sum.
type weighted struct {
	weight int
	deed   deed
	victim victim
}

// menu says what happens how often.
func menu(brokers int) []weighted {
	list := []weighted{
		{18, kill, atWork},
		{10, stop, atWork},
		{10, restart, atWork},
		{5, kill, standing},
		{3, stop, standing},
		{4, restart, standing},
		{5, kill, wholeOf},
		{3, stop, wholeOf},
		{8, kill, aBroker},
		{6, stop, aBroker},
		{6, restart, aBroker},
		{5, kill, aRedis},
		{4, stop, aRedis},
		{3, restart, aRedis},
		{7, empty, aRedis},
		{3, kill, all},
	}
	if brokers > 1 {
		list = append(list, weighted{12, move, aBroker})
	}
	return list
}

// plan draws a run's faults. The same seed and numbers give the same plan.
func plan(c Config) []strike {
	r := rand.New(rand.NewPCG(c.Seed, 1<<50)) // apart from every caller
	list, sum := menu(c.Brokers), 0
	for _, w := range list {
		sum += w.weight
	}
	gap := max(c.Commands/(c.Faults+1), 1)
	strikes := make([]strike, c.Faults)
	for i := range strikes {
		s := strike{Number: i + 1, At: (i+1)*gap - gap/4 + r.IntN(gap/2+1), Hold: max(gap/8, 1) + r.IntN(gap/2+1)}
		s.Role = terminal.RoleNames()[r.IntN(len(terminal.RoleNames()))]
		s.broker = r.IntN(max(c.Brokers, 1))
		draw := r.IntN(sum)
		for _, w := range list {
			if draw -= w.weight; draw < 0 {
				s.deed, s.victim = w.deed, w.victim
				break
			}
		}
		if s.victim == standing && replicasOf[s.Role] < 2 {
			s.victim = atWork
		}
		strikes[i] = s
	}
	return strikes
}

// kind is the row of the report that a fault belongs to.
func (s strike) kind(brokers int) string {
	single := replicasOf[s.Role] < 2
	switch {
	case s.victim == atWork && single:
		return "the only process of a role " + s.deed.String()
	case s.victim == atWork:
		return "the replica at work " + s.deed.String()
	case s.victim == standing:
		return "a replica standing by " + s.deed.String()
	case s.victim == wholeOf:
		return "all processes of a role " + s.deed.String()
	case s.victim == all:
		return "everything killed at once"
	case s.victim == aRedis:
		return "Redis " + s.deed.String()
	case s.deed == move:
		return "the streams' leaders moved"
	case brokers > 1:
		return "one of three brokers " + s.deed.String()
	}
	return "the broker " + s.deed.String()
}

// String tells it on one line.
func (s strike) String() string {
	return fmt.Sprintf("%3d. after %d commands, for at most %d: %s %s", s.Number, s.At, s.Hold, s.kind(1), s.of())
}

// of names the role that a fault is for; "" if it is for none.
func (s strike) of() string {
	if s.victim == atWork || s.victim == standing || s.victim == wholeOf {
		return s.Role
	}
	return ""
}
