package sitelog_test

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/anypb"
	"google.golang.org/protobuf/types/known/timestamppb"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// cards is a state of named texts. An event "name=text" writes one, and an
// event of a time archives all.
type cards struct {
	texts map[string]string
	filed map[string]uint64
	due   time.Time
}

func newCards(string) *cards { return &cards{texts: map[string]string{}, filed: map[string]uint64{}} }

func (c *cards) clone() *cards {
	return &cards{texts: maps.Clone(c.texts), filed: maps.Clone(c.filed), due: c.due}
}

func evolveCards(c *cards, e sitelog.Event) {
	switch m := e.Message.(type) {
	case *wrapperspb.StringValue:
		name, text, _ := strings.Cut(m.GetValue(), "=")
		c.texts[name] = text
	case *timestamppb.Timestamp:
		c.due = m.AsTime()
	case *logv1.Archived:
		delete(c.texts, m.GetName())
		c.filed[m.GetName()] = e.Number
		c.due = time.Time{}
	case *logv1.Recalled:
		var text wrapperspb.StringValue
		sitelog.Unpack(m.GetRecord(), &text)
		c.texts[m.GetName()] = text.GetValue()
		delete(c.filed, m.GetName())
	}
}

func (c *cards) text(name string) (string, error) {
	if commit := c.filed[name]; commit != 0 {
		return "", &sitelog.ArchivedError{Name: name, Commit: commit}
	}
	text, ok := c.texts[name]
	if !ok {
		return "", errNoCard
	}
	return text, nil
}

var errNoCard, errSame = errors.New("no such card"), errors.New("it says so already")

// cardMachine appends a followed service's words, as in "anvil=more", to cards that there are.
func cardMachine(follows ...string) sitelog.Machine[*cards] {
	m := sitelog.Machine[*cards]{
		Service: "cards", New: newCards, Evolve: evolveCards, Follows: follows,
		Due: func(c *cards) (time.Time, bool) { return c.due, !c.due.IsZero() },
		Fire: func(c *cards, _ sitelog.Input) ([]proto.Message, error) {
			var events []proto.Message
			for name, text := range c.texts {
				a, err := sitelog.Archive(name, wrapperspb.String(text))
				if err != nil {
					return nil, err
				}
				events = append(events, a)
			}
			return events, nil
		},
	}
	if len(follows) > 0 {
		m.React = func(c *cards, f sitelog.Foreign, _ sitelog.Input) ([]proto.Message, error) {
			word, ok := f.Message.(*wrapperspb.StringValue)
			if !ok {
				return nil, nil
			}
			name, more, _ := strings.Cut(word.GetValue(), "=")
			text, err := c.text(name)
			if err != nil || more == "" {
				return nil, err
			}
			return []proto.Message{wrapperspb.String(name + "=" + text + more)}, nil
		}
	}
	return m
}

func cardCommand(decide func(*cards) ([]proto.Message, error)) sitelog.Command[*cards] {
	return sitelog.Command[*cards]{
		Method: "/test.Cards/Do", Request: wrapperspb.String("anything"),
		Decide: func(c *cards, _ sitelog.Input) (sitelog.Decision, error) {
			events, err := decide(c)
			return sitelog.Decision{Events: events, Response: wrapperspb.Bool(true)}, err
		},
	}
}

// write sets a card's text, and refuses the text that it has.
func write(name, text string) sitelog.Command[*cards] {
	return cardCommand(func(c *cards) ([]proto.Message, error) {
		was, err := c.text(name)
		if err != nil && !errors.Is(err, errNoCard) {
			return nil, err
		}
		if was == text {
			return nil, errSame
		}
		return []proto.Message{wrapperspb.String(name + "=" + text)}, nil
	})
}

func archiveAll() sitelog.Command[*cards] {
	return cardCommand(func(*cards) ([]proto.Message, error) { return []proto.Message{timestamppb.New(time.Unix(1, 0))}, nil })
}

func cardsOf(t *testing.T, r *sitelog.Runner[*cards]) (c *cards) {
	t.Helper()
	if _, err := r.View(t.Context(), site, func(s *cards) error { c = s.clone(); return nil }); err != nil {
		t.Fatal(err)
	}
	return c
}

func foldCards(t *testing.T, log sitelog.Log) (c *cards, commits int) {
	t.Helper()
	c = newCards(site)
	err := log.Read(t.Context(), sitelog.Subject{Service: "cards", Site: site}, 0, func(r sitelog.Record) error {
		events, err := sitelog.EventsOf(r)
		for _, e := range events {
			evolveCards(c, e)
		}
		commits++
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return c, commits
}

// What has left the state is found by views, changed by commands and reached by
// reactions. Who only looks, or is refused, leaves no trace.
func TestWhatIsArchivedComesBackWhenItIsNeeded(t *testing.T) {
	eachLog(t, func(t *testing.T, log sitelog.Log) {
		words := open(t, log, boardMachine("job"), sitelog.Options{})
		r := open(t, log, cardMachine("job"), sitelog.Options{})
		for _, name := range []string{"anvil", "bolt", "clamp"} {
			mustDo(t, r, write(name, "one"))
		}
		mustDo(t, r, archiveAll())
		until(t, func() bool { return len(cardsOf(t, r).filed) == 3 })
		before, commits := foldCards(t, log)
		if len(before.texts) != 0 {
			t.Fatalf("the state still has %v", before.texts)
		}

		var seen string
		if _, err := r.View(t.Context(), site, func(c *cards) (err error) { seen, err = c.text("bolt"); return err }); err != nil || seen != "one" {
			t.Errorf("a view finds %q (%v)", seen, err)
		}
		if _, err := r.Do(t.Context(), site, write("anvil", "one")); !errors.Is(err, errSame) {
			t.Errorf("the command was not refused: %v", err)
		}
		if after, n := foldCards(t, log); n != commits || !reflect.DeepEqual(after, before) || !reflect.DeepEqual(cardsOf(t, r), before) {
			t.Errorf("looking and a refusal left traces: %d commits, %+v", n-commits, cardsOf(t, r))
		}

		mustDo(t, r, write("anvil", "two"))
		mustDo(t, words, add("req-0001", "bolt="))
		mustDo(t, words, add("req-0002", "clamp=more"))
		until(t, func() bool { return cardsOf(t, r).texts["clamp"] == "onemore" })
		got, _ := foldCards(t, log)
		want := &cards{texts: map[string]string{"anvil": "two", "clamp": "onemore"}, filed: map[string]uint64{"bolt": before.filed["bolt"]}}
		if !reflect.DeepEqual(got, want) || !reflect.DeepEqual(cardsOf(t, r), want) {
			t.Errorf("the log says %+v, the writer %+v, want %+v", got, cardsOf(t, r), want)
		}
	})
}

// A card that is archived by a commit which is not on disk yet is found in it.
func TestWhatIsBeingArchivedComesBack(t *testing.T) {
	log := memory.New()
	r := open(t, log, cardMachine(), sitelog.Options{})
	mustDo(t, r, write("anvil", "one"))
	archiving := cardCommand(func(c *cards) ([]proto.Message, error) {
		text, err := c.text("anvil")
		if err != nil {
			return nil, err
		}
		a, err := sitelog.Archive("anvil", wrapperspb.String(text))
		return []proto.Message{a}, err
	})
	appending, decided, hold := make(chan struct{}, 9), make(chan struct{}, 9), make(chan struct{})
	log.SetHook(func(_ context.Context, op memory.Operation, _ sitelog.Subject) memory.Effect {
		if op == memory.Append {
			appending <- struct{}{}
			<-hold
		}
		return memory.Effect{}
	})
	writing := write("anvil", "two")
	decide := writing.Decide
	writing.Decide = func(c *cards, in sitelog.Input) (sitelog.Decision, error) {
		d, err := decide(c, in)
		if err == nil {
			decided <- struct{}{}
		}
		return d, err
	}
	results := make(chan error, 2)
	go func() { _, err := r.Do(t.Context(), site, archiving); results <- err }()
	<-appending
	go func() { _, err := r.Do(t.Context(), site, writing); results <- err }()
	<-decided
	close(hold)
	for range 2 {
		if err := <-results; err != nil {
			t.Error(err)
		}
	}
	c, _ := foldCards(t, log)
	if c.texts["anvil"] != "two" || len(c.filed) != 0 {
		t.Errorf("the log says %+v", c)
	}
}

// A record that is not where it was filed stops the site instead of being taken for gone.
func TestAMissingRecordIsDamage(t *testing.T) {
	log := memory.New()
	r := open(t, log, cardMachine(), sitelog.Options{})
	mustDo(t, r, write("anvil", "one"))
	known := sitelog.Chain{Subject: sitelog.Subject{Service: "cards", Site: site}, Number: 1, Sequence: 1}
	for _, f := range []*sitelog.ArchivedError{{Name: "anvil", Commit: 1}, {Name: "anvil", Commit: 0}, {Name: "anvil", Commit: 7}} {
		if _, err := sitelog.FromArchive(t.Context(), log, known, f); err == nil || !strings.Contains(err.Error(), "commit") {
			t.Errorf("commit %d: %v", f.Commit, err)
		}
	}
}

// Every commit is found by its number in a stream that many sites share, with
// few questions, also where the sites took turns in bursts.
func TestACommitIsFoundByItsNumber(t *testing.T) {
	log := memory.New()
	random := rand.New(rand.NewPCG(3, 14))
	last, chains := map[string]uint64{}, map[string]sitelog.Chain{}
	for len(chains) < 3 || chains["a"].Number < 1500 {
		name := []string{"a", "b", "c"}[random.IntN(3)]
		for range random.IntN(200) {
			s := sitelog.Subject{Service: "cards", Site: name}
			chain := chains[name]
			chain.Subject = s
			a, err := sitelog.Archive(fmt.Sprint(chain.Number+1), wrapperspb.String("x"))
			if err != nil {
				t.Fatal(err)
			}
			data := commitAfter(t, chain, a)
			sequence, err := log.Append(t.Context(), s, last[name], sitelog.Message{Data: data})
			if err != nil {
				t.Fatal(err)
			}
			if _, err := chain.Next(sitelog.Record{Subject: s, Sequence: sequence, Message: sitelog.Message{Data: data}}); err != nil {
				t.Fatal(err)
			}
			last[name], chains[name] = sequence, chain
		}
	}
	reads := 0
	log.SetHook(func(_ context.Context, op memory.Operation, _ sitelog.Subject) memory.Effect {
		if op == memory.Read {
			reads++
		}
		return memory.Effect{}
	})
	most := 0
	for number := uint64(1); number <= chains["a"].Number; number++ {
		reads = 0
		if _, err := sitelog.FromArchive(t.Context(), log, chains["a"], &sitelog.ArchivedError{Name: fmt.Sprint(number), Commit: number}); err != nil {
			t.Fatal(err)
		}
		most = max(most, reads)
	}
	if most > 24 {
		t.Errorf("one commit took %d questions", most)
	}
}

// commitAfter is a commit with one event that continues a chain.
func commitAfter(t *testing.T, chain sitelog.Chain, event proto.Message) []byte {
	t.Helper()
	packed, err := anypb.New(event)
	if err != nil {
		t.Fatal(err)
	}
	data, err := proto.Marshal(&logv1.Commit{
		Id: fmt.Sprint(chain.Subject.Site, chain.Number+1), Service: chain.Subject.Service, Site: chain.Subject.Site,
		Number: chain.Number + 1, PreviousHash: chain.Hash, Time: timestamppb.New(time.Unix(1, 0)),
		Entries: []*logv1.Entry{{Events: []*anypb.Any{packed}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	return data
}
