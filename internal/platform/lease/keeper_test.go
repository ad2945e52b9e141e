package lease_test

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"ramprow/internal/platform/lease"
	"ramprow/internal/platform/lease/leasetest"
)

const part = "p01"

func TestMemory(t *testing.T) {
	leasetest.Run(t, func(*testing.T) lease.Store { return leasetest.NewMemory() })
}

// replica is a keeper with its own line to the shared store.
type replica struct {
	*lease.Keeper
	line *leasetest.Line
}

func open(t *testing.T, store *leasetest.Memory, id string) *replica {
	t.Helper()
	r := &replica{line: &leasetest.Line{Store: store}}
	var err error
	r.Keeper, err = lease.Start(t.Context(), lease.Config{
		Store: r.line, Group: "job", Parts: []string{part, "p02"}, Self: lease.Holder{ID: id, Address: id + ":1"},
	})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func (r *replica) close(t *testing.T) {
	t.Helper()
	if err := r.Close(context.WithoutCancel(t.Context())); err != nil {
		t.Error(err)
	}
}

// passing lets virtual time pass in small steps and looks after each. It stops
// when look says so, and gives the time that it took.
func passing(limit time.Duration, look func() bool) time.Duration {
	const step = 10 * time.Millisecond
	began := time.Now()
	for time.Since(began) < limit {
		<-time.After(step)
		synctest.Wait()
		if look() {
			break
		}
	}
	return time.Since(began)
}

func TestALiveHolderKeepsItsLease(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store := leasetest.NewMemory()
		a := open(t, store, "a")
		defer a.close(t)
		b := open(t, store, "b")
		defer b.close(t)
		passing(time.Minute, func() bool {
			if !a.Holds(part) || b.Holds(part) {
				t.Fatalf("a holds: %t, b holds: %t", a.Holds(part), b.Holds(part))
			}
			return false
		})
		if a.Elsewhere(part) != "" || b.Elsewhere(part) != "a:1" {
			t.Errorf("calls go to %q from a and to %q from b", a.Elsewhere(part), b.Elsewhere(part))
		}
		if a.Holds("p99") || b.Elsewhere("p99") != "" {
			t.Error("a part that nobody named has a holder")
		}
	})
}

// A holder that goes silent, at any moment between two renewals, is replaced
// within a TTL and a Renew; and it stops believing before that.
func TestASilentHolderIsReplacedInTime(t *testing.T) {
	for ms := 0; ms <= 1000; ms += 125 {
		t.Run(fmt.Sprint(ms), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				store := leasetest.NewMemory()
				a := open(t, store, "a")
				defer a.close(t)
				b := open(t, store, "b")
				defer b.close(t)
				passing(5*time.Second+time.Duration(ms)*time.Millisecond, func() bool { return false })
				a.line.Cut(true)
				took := passing(time.Minute, func() bool {
					if a.Holds(part) && b.Holds(part) {
						t.Fatal("both believe that they hold it")
					}
					return b.Holds(part)
				})
				if limit := lease.DefaultTTL + lease.DefaultRenew; took > limit {
					t.Errorf("the takeover took %v, more than %v", took, limit)
				}
				a.line.Cut(false)
				if took := passing(time.Minute, func() bool { return a.Elsewhere(part) == "b:1" }); took > lease.DefaultRenew+time.Second {
					t.Errorf("who was replaced noticed after %v", took)
				}
				if !b.Holds(part) {
					t.Error("the old holder took the lease from a live one")
				}
			})
		})
	}
}

func TestALeaseThatIsGivenBackIsTakenAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store := leasetest.NewMemory()
		a := open(t, store, "a")
		b := open(t, store, "b")
		defer b.close(t)
		passing(time.Second, func() bool { return false })
		a.close(t)
		synctest.Wait()
		if !b.Holds(part) || a.Holds(part) {
			t.Errorf("a holds: %t, b holds: %t", a.Holds(part), b.Holds(part))
		}
		select {
		case <-b.Changed():
		default:
			t.Error("the new holder was not told")
		}
	})
}

// A process that is started again where its predecessor was killed need not wait.
func TestWhoComesBackToItsAddressTakesItsLeaseAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store := leasetest.NewMemory()
		dead := open(t, store, "a")
		dead.line.Cut(true)
		defer func() { _ = dead.Close(t.Context()) }() // it cannot give back what it held
		again, err := lease.Start(t.Context(), lease.Config{
			Store: store, Group: "job", Parts: []string{part}, Self: lease.Holder{ID: "a2", Address: "a:1"},
		})
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = again.Close(t.Context()) }()
		if !again.Holds(part) || again.Elsewhere(part) != "" {
			t.Error("it waits for itself")
		}
	})
}

func TestAStoreThatIsAwayIsToldAtTheStart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		line := &leasetest.Line{Store: leasetest.NewMemory()}
		line.Cut(true)
		_, err := lease.Start(t.Context(), lease.Config{Store: line, Group: "job", Parts: []string{part}, Self: lease.Holder{ID: "a", Address: "a:1"}})
		if !errors.Is(err, leasetest.ErrAway) {
			t.Errorf("it started with %v", err)
		}
	})
}

// A cluster's store answers nobody while it has no leader: a replica that starts
// meanwhile waits a little.
func TestAStoreThatIsNotThereYetIsWaitedFor(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		line := &leasetest.Line{Store: leasetest.NewMemory()}
		line.Cut(true)
		time.AfterFunc(3*time.Second, func() { line.Cut(false) })
		k, err := lease.Start(t.Context(), lease.Config{Store: line, Group: "job", Parts: []string{part}, Self: lease.Holder{ID: "a", Address: "a:1"}})
		if err != nil {
			t.Fatal(err)
		}
		if !k.Holds(part) {
			t.Error("it is alone, and began without the lease")
		}
		if err := k.Close(t.Context()); err != nil {
			t.Error(err)
		}
	})
}

// A store that forgets everything gives each lease to one replica again.
func TestAForgetfulStore(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store := leasetest.NewMemory()
		a := open(t, store, "a")
		defer a.close(t)
		b := open(t, store, "b")
		defer b.close(t)
		passing(5*time.Second, func() bool { return false })
		store.Forget()
		passing(10*time.Second, func() bool {
			if a.Holds(part) && b.Holds(part) {
				t.Fatal("both believe that they hold it")
			}
			return false
		})
		if a.Holds(part) == b.Holds(part) {
			t.Error("nobody holds the lease")
		}
		if a.Holds(part) && b.Elsewhere(part) != "a:1" || b.Holds(part) && a.Elsewhere(part) != "b:1" {
			t.Error("the one does not know of the other")
		}
	})
}

func TestWhatAKeeperNeeds(t *testing.T) {
	whole := lease.Config{Store: leasetest.NewMemory(), Group: "job", Parts: []string{part}, Self: lease.Holder{ID: "a", Address: "a:1"}}
	tests := map[string]func(*lease.Config){
		"no store":     func(c *lease.Config) { c.Store = nil },
		"no group":     func(c *lease.Config) { c.Group = "" },
		"no parts":     func(c *lease.Config) { c.Parts = nil },
		"no id":        func(c *lease.Config) { c.Self.ID = "" },
		"no address":   func(c *lease.Config) { c.Self.Address = "" },
		"slow renewal": func(c *lease.Config) { c.Renew = time.Minute },
	}
	for name, spoil := range tests {
		t.Run(name, func(t *testing.T) {
			c := whole
			spoil(&c)
			if _, err := lease.Start(t.Context(), c); err == nil {
				t.Error("it started")
			}
		})
	}
}
