package faults

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"sync"
	"time"

	"ramprow/internal/catalogue"
	"ramprow/internal/catalogue/demo"
	"ramprow/internal/platform/simulation"
	"ramprow/internal/platform/telemetry"
	"ramprow/services/ramprow/simulate"
	"ramprow/services/terminal"
)

// family is the demo's small catalogue: planning with it takes milliseconds.
const family = "dunfell-carrow"

// Config says how long a run is and what it runs.
type Config struct {
	Programs
	// Dir takes everything that the processes write; it must be empty.
	Dir string
	// Store, if set, takes the brokers' streams instead of Dir.
	Store   string
	Seed    uint64
	Faults  int
	Brokers int // 1, or 3 as a cluster
	// Commands is how many have to be acknowledged before the run ends.
	Commands int
	Sites    int
	Callers  int // at each site
	Cars     int // of each caller at the same time
	// Began is the present.
	Began time.Time
	// Progress takes a line for each fault.
	Progress io.Writer
}

func (c Config) validate() error {
	switch {
	case c.Ramprow == "" || c.NATS == "" || c.Redis == "":
		return errors.New("name the programs ramprow, nats-server and redis-server")
	case c.Commands < 1 || c.Faults < 0 || c.Faults > c.Commands:
		return fmt.Errorf("%d faults in %d commands cannot be; take at most one for each command", c.Faults, c.Commands)
	case c.Sites < 1 || c.Callers < 1 || c.Cars < 1:
		return errors.New("there must be a site, a caller and a car at least")
	case c.Brokers != 1 && c.Brokers != 3:
		return errors.New("run 1 broker, or 3")
	}
	return nil
}

// field is a run under way.
type field struct {
	Config

	town      *town
	tally     *tally
	catalogue *catalogue.Catalogue
	sites     []string
	probers   []*prober
	callers   []*caller
	asking    sync.WaitGroup // probes
	report    *Report
}

// Run lives through a seed's faults. The report is there even when a rule is
// broken; an error means that the run could not be made.
func Run(ctx context.Context, c Config) (*Report, error) {
	f, err := open(ctx, c)
	if err != nil {
		return nil, err
	}
	defer f.town.close()
	began := time.Now()
	err = f.live(ctx, f.strikes)
	f.report.Took = time.Since(began)
	if err == nil {
		err = f.check(ctx)
	}
	f.sum()
	f.report.Unfinished = err != nil
	if errors.Is(err, errBroken) || err != nil && len(f.report.Violations) > 0 {
		return f.report, nil
	}
	return f.report, err
}

// open starts the town and furnishes every site.
func open(ctx context.Context, c Config) (f *field, err error) {
	if err := c.validate(); err != nil {
		return nil, err
	}
	if err := os.MkdirAll(c.Dir, 0o700); err != nil {
		return nil, fmt.Errorf("make the folder: %w", err)
	}
	t, err := telemetry.Start(ctx, telemetry.Config{Service: "ramprow-faults", Log: io.Discard, LogLevel: slog.LevelError, Getenv: func(string) string { return "" }})
	if err != nil {
		return nil, err
	}
	f = &field{Config: c, tally: newTally(), report: &Report{Seed: c.Seed, Planned: plan(c)}}
	if f.catalogue, err = smallCatalogue(); err != nil {
		return nil, err
	}
	if f.town, err = openTown(ctx, c, t); err != nil {
		return nil, err
	}
	if err = f.furnish(ctx); err != nil {
		f.town.close()
		return nil, fmt.Errorf("furnish the workshops: %w", err)
	}
	return f, nil
}

func smallCatalogue() (*catalogue.Catalogue, error) {
	catalogues, err := demo.Catalogues()
	if err != nil {
		return nil, err
	}
	for _, c := range catalogues {
		if c.Message().GetId() == family {
			return c, nil
		}
	}
	return nil, fmt.Errorf("the demo has no catalogue %s", family)
}

func (f *field) furnish(ctx context.Context) error {
	for i := range f.Sites {
		site := fmt.Sprintf("site-%d", i+1)
		token, err := f.town.token(site)
		if err != nil {
			return err
		}
		d := desk{town: f.town, tally: f.tally, site: site, token: token}
		for _, request := range simulate.Furniture(f.catalogue, f.Began) {
			call := &simulation.Call{Request: request}
			if refused, err := f.furnishWith(ctx, &d, call); err != nil || refused {
				return errors.Join(err, call.Err)
			}
		}
		m := f.catalogue.Message()
		p := &prober{desk: d, part: m.GetParts()[0].GetNumber(), symptom: m.GetSymptoms()[0].GetId()}
		p.probe = true
		if err := p.prepare(ctx, family); err != nil {
			return err
		}
		f.sites, f.probers = append(f.sites, site), append(f.probers, p)
		for range f.Callers {
			f.callers = append(f.callers, newCaller(d, f.Config, len(f.callers)+1, f.Cars, f.catalogue))
		}
	}
	return nil
}

// furnishWith asks until inventory knows the parts, which it hears by event.
func (f *field) furnishWith(ctx context.Context, d *desk, call *simulation.Call) (refused bool, err error) {
	err = eventually(ctx, call.Method, func(ctx context.Context) error {
		if refused, err = d.ask(ctx, call); refused {
			return call.Err
		}
		return nil
	})
	return refused, err
}

// live lets the callers work while something is done to them, and until enough is
// acknowledged.
func (f *field) live(ctx context.Context, trouble func(context.Context) error) error {
	working, giveUp := context.WithCancel(ctx)
	defer giveUp()
	leave := make(chan struct{})
	var callers sync.WaitGroup
	for _, c := range f.callers {
		callers.Go(func() {
			if err := c.work(working, leave); err != nil && working.Err() == nil && !errors.Is(err, errBroken) {
				f.tally.violated("%s stopped: %v", c.name, err)
			}
		})
	}
	err := trouble(working)
	if err == nil {
		err = f.tally.await(ctx, "the last commands", func() bool { return f.tally.commands >= f.Commands })
	}
	close(leave)
	if err != nil {
		giveUp()
	}
	callers.Wait()
	f.asking.Wait()
	return err
}

// strikes lets every planned fault happen in its turn.
func (f *field) strikes(ctx context.Context) error {
	for _, s := range f.report.Planned {
		if err := f.tally.await(ctx, "the next fault", func() bool { return f.tally.commands >= s.At }); err != nil {
			return err
		}
		if err := f.strike(ctx, s); err != nil {
			return fmt.Errorf("%v: %w", s, err)
		}
		for _, end := range f.town.unexpected() {
			f.tally.violated("%s", end)
		}
	}
	return nil
}

// strike does one fault, undoes it, and waits until everything answers again.
func (f *field) strike(ctx context.Context, s strike) error {
	targets, err := f.town.targets(ctx, s, f.sites[0])
	if err != nil {
		return err
	}
	needs := f.needs(s)
	commands, again := f.tally.count()
	struck := Struck{strike: s, Commands: commands, Logs: f.tally.rises()}
	o := f.tally.begin(needs)
	defer f.tally.over(o)
	wait, err := f.town.hit(ctx, s.deed, targets)
	if err != nil {
		return err
	}
	// Whoever is told to end still serves until it has drained: what matters comes then.
	if err := wait(); err != nil {
		return err
	}
	f.tally.felt(o, s.deed == restart)
	for _, p := range f.probers {
		p.askFor(ctx, needs, &f.asking)
	}
	if s.deed == kill || s.deed == stop {
		// Where nobody gets any further, it is undone as soon as all have noticed.
		err := f.tally.await(ctx, "the time to undo it", func() bool {
			return f.tally.commands >= commands+s.Hold || f.tally.again >= again+len(f.callers)
		})
		if err != nil {
			return err
		}
	}
	if err := f.town.undo(ctx, s.deed, targets); err != nil {
		return err
	}
	f.tally.mended(o)
	if err := f.answered(ctx, o); err != nil {
		return err
	}
	struck.Kind = s.kind(f.Brokers)
	struck.Whole, struck.After = o.lasted()
	f.report.Struck = append(f.report.Struck, struck)
	_, err = fmt.Fprintln(f.Progress, struck)
	return err
}

// answered waits until an outage is over. That it lasts is a broken rule.
func (f *field) answered(ctx context.Context, o *outage) error {
	limited, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	err := f.tally.await(limited, "everything to answer again", func() bool { return len(o.open) == 0 })
	if err != nil && ctx.Err() == nil && limited.Err() != nil {
		f.tally.violated("%s did not answer within %v after the fault was undone", o.missing(), patience)
		return errBroken
	}
	return err
}

// needs lists what has to answer again after a fault. Redis is needed by reads
// alone, the broker by every command.
func (f *field) needs(s strike) []need {
	var needs []need
	for _, site := range f.sites {
		for _, role := range terminal.RoleNames() {
			concerned := s.victim == aBroker || s.victim == all || s.victim != aRedis && s.Role == role
			if concerned {
				needs = append(needs, need{seat: seat{role: role, site: site}})
			}
		}
		if s.victim == aRedis || s.victim == all {
			needs = append(needs, need{seat: seat{role: terminal.RoleJob, site: site}, reads: true})
		}
	}
	return needs
}
